"""At rest the force is gravity: it shows at once what a filter's "up" has lost in a swing.

A filter trusts the force little, because in movement it is more than gravity: VQF needs three seconds to come back, and
a golfer holds the finish for one. While a sensor rests its mean force is weighed against the filter by how wrong each
may be, and what "up" is off by is put right with a small turn about a level axis. When it moves on, that turn fades as
the filter itself forgets the same error.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion.known import INCLINATION_SD_REST_RAD, REST_S, SHAKEN_FALLS_S, Each
from imufeedback.fusion.sensor_rotation import to_earth
from imufeedback.quaternions import product
from imufeedback.records import Floats

SPEED_SD_M_S = 0.07
"""A sensor that is called at rest may still move so fast; over T seconds its mean acceleration is no more than that
over T. Chosen."""
MEAN_S = 1.0
"""The force is averaged over the rest, at most over so long."""
FOLLOWS_S = 0.1
"""The turn comes in over so long, so that no angle jumps."""
NONE_RAD = 1e-5
_NOT_TURNED = (0.0, 0.0)
CONSTANTS = [
    REST_S, SHAKEN_FALLS_S, MEAN_S, FOLLOWS_S, NONE_RAD, SPEED_SD_M_S, STANDARD_GRAVITY_M_S2, INCLINATION_SD_REST_RAD
]  # fmt: skip
"""In the order of the compiled form."""


@dataclass
class RestLevel:
    """Where "up" is off, as rotation vector (x, y) about level axes of the earth's frame."""

    x: float = 0.0
    y: float = 0.0
    mean_x: float = 0.0
    mean_y: float = 0.0
    """What the force says of it, averaged over the rest."""
    sd_rad: float = 0.0
    """How wrong the tilt may have been before the rest."""

    def found(
        self, q_es: Floats, acc: Floats, steps_s: list[float], quiet_s: Each, sd_rad: Each
    ) -> tuple[Floats | None, Each]:
        """Orientations with "up" put right (None: nothing to put right), and standard deviations of their tilt.

        `q_es` (N, 4) and `acc` (N, 3) of the filter; `quiet_s` for how long the sensor has been quiet at each sample;
        `sd_rad` how wrong the filter's tilt may be by what it went through.
        """
        if max(quiet_s) <= 0.0 and self.x == 0.0 == self.y:
            self.sd_rad = sd_rad[-1]
            return None, sd_rad
        force = to_earth(q_es, acc)
        force /= np.sqrt((force * force).sum(axis=1))[:, None]
        turns, sds = [], []
        # the turn that takes the force to the vertical
        for (x, y, _), step, quiet, sd in zip(force.tolist(), steps_s, quiet_s, sd_rad, strict=True):
            if quiet <= 0.0 and self.x == 0.0 == self.y:  # in movement, with nothing left to fade
                self.sd_rad, self.mean_x, self.mean_y = sd, 0.0, 0.0
                turns.append(_NOT_TURNED)
                sds.append(sd)
                continue
            force_sd = _force_sd_rad(quiet) if quiet >= REST_S else 0.0
            turns.append(self._more(y, -x, step, quiet, sd, force_sd))
            sds.append(self._sd(force_sd, sd))
        if not any(x or y for x, y in turns):
            return None, sds
        half = 0.5 * np.array(turns)
        q = np.column_stack((np.sqrt(1.0 - (half * half).sum(axis=1)), half, np.zeros(len(half))))
        return product(q, q_es), sds

    @property
    def numbers(self) -> tuple[float, ...]:
        """All of the state, in the order of the compiled form."""
        return self.x, self.y, self.mean_x, self.mean_y, self.sd_rad

    @numbers.setter
    def numbers(self, values: Sequence[float]) -> None:
        self.x, self.y, self.mean_x, self.mean_y, self.sd_rad = values

    def _more(
        self, off_x: float, off_y: float, step: float, quiet_s: float, sd_rad: float, force_sd_rad: float
    ) -> tuple[float, float]:
        """`force_sd_rad`: how wrong the mean force may be at rest; 0 before."""
        if quiet_s <= 0.0:
            self.sd_rad, self.mean_x, self.mean_y = sd_rad, 0.0, 0.0
            fade = math.exp(-step / SHAKEN_FALLS_S)
            self.x, self.y = self.x * fade, self.y * fade
            if abs(self.x) + abs(self.y) < NONE_RAD:
                self.x = self.y = 0.0
            return self.x, self.y
        if self.sd_rad == 0.0:  # a filter that began in the rest
            self.sd_rad = sd_rad
        share = min(step / min(quiet_s, MEAN_S), 1.0)
        self.mean_x += share * (off_x - self.mean_x)
        self.mean_y += share * (off_y - self.mean_y)
        if force_sd_rad:
            gain = self.sd_rad**2 / (self.sd_rad**2 + force_sd_rad**2)
            share = min(step / FOLLOWS_S, 1.0)
            self.x += share * (gain * self.mean_x - self.x)
            self.y += share * (gain * self.mean_y - self.y)
        return self.x, self.y

    def _sd(self, force_sd_rad: float, sd_rad: float) -> float:
        """At rest both together; a filter that has lost more since is believed no more than that."""
        if not force_sd_rad:
            return sd_rad
        both = self.sd_rad * force_sd_rad / math.hypot(self.sd_rad, force_sd_rad)
        return max(both, INCLINATION_SD_REST_RAD)


def _force_sd_rad(quiet_s: float) -> float:
    moves = SPEED_SD_M_S / (STANDARD_GRAVITY_M_S2 * quiet_s)
    return math.hypot(moves, INCLINATION_SD_REST_RAD)
