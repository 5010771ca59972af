"""Has a strap moved? Each address is compared with the player's own addresses before it.

A strap that turns about the thigh shows as hip rotation that was not there at the last address (the gyroscope counts it
as turning), and as gravity that lies otherwise in the sensor; a player who sets a foot otherwise turns the hip too, but
leaves gravity where it was. Tipping shows in gravity alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imufeedback.records import Floats

LEAST_TURN_RAD = float(np.deg2rad(6.0))
LEAST_TIP_RAD = float(np.deg2rad(6.0))
USUAL_TURN_RAD, USUAL_TIP_RAD = float(np.deg2rad(1.5)), float(np.deg2rad(1.2))
"""Scatter of a player about whom nothing is known yet: from address to address. Chosen."""
KNOWN_AFTER = 3
TIMES_SCATTER = 3.7
DRIFT_RAD_S = float(np.deg2rad(4.0)) / 60.0
"""Between two sensors' headings: VQF 6D on BROAD drifts 2.8 °/min a sensor (median, computed)."""
KEEP = 20


@dataclass(frozen=True, slots=True)
class Slip:
    """A strap that moved."""

    turn_rad: float
    """About the segment's long axis."""
    tip_rad: float
    """Of gravity in the segment, beyond what the turn explains."""


@dataclass
class SlipWatch:
    """One segment's addresses. What was noticed begins a new count: from then on it is the strap's usual place."""

    turns: list[float] = field(default_factory=list)
    ups: list[Floats] = field(default_factory=list)

    def address(self, turn_rad: float | None, up: Floats, since_s: float) -> Slip | None:
        """One more address: rotation against the one before (None when not known), `up` (3,) in the segment, and the
        time since then."""
        slip = self._judged(turn_rad, up, since_s)
        if slip is not None:
            self.turns, self.ups = [], []
        if turn_rad is not None and slip is None:
            self.turns = [*self.turns[-KEEP:], turn_rad]
        self.ups = [*self.ups[-KEEP:], up]
        return slip

    def _judged(self, turn_rad: float | None, up: Floats, since_s: float) -> Slip | None:
        if not self.ups:
            return None
        usual = np.median(np.array(self.ups), axis=0)
        usual /= np.linalg.norm(usual)
        scatter = _scatter([float(np.linalg.norm(one - usual)) for one in self.ups], USUAL_TIP_RAD)
        stays = float(np.linalg.norm(up - usual))
        if turn_rad is not None:
            spread = np.hypot(_scatter(self.turns, USUAL_TURN_RAD), DRIFT_RAD_S * since_s)
            turned = float(np.linalg.norm(up - _about_y(usual, -turn_rad)))
            # gravity must not speak against it: this much likelier without
            against = (turned**2 - stays**2) / (2 * scatter**2)
            if abs(turn_rad) > max(LEAST_TURN_RAD, TIMES_SCATTER * float(spread)) and against < 1.0:
                return Slip(turn_rad, turned)
        if stays > max(LEAST_TIP_RAD, TIMES_SCATTER * scatter):
            return Slip(0.0, stays)
        return None


def _scatter(values: list[float], usual: float) -> float:
    """Root mean square, leaning on what is usual until enough is known; the largest one is left out, lest one odd
    address hide the next."""
    kept = sorted(abs(one) for one in values)[: max(len(values) - 1, 0)]
    own = sum(one * one for one in kept)
    return float(np.sqrt((KNOWN_AFTER * usual**2 + own) / (KNOWN_AFTER + len(kept))))


def _about_y(v: Floats, angle_rad: float) -> Floats:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([c * v[0] + s * v[2], v[1], c * v[2] - s * v[0]])
