"""Has a strap moved? Each address is compared with the player's own addresses before it.

A strap that turns about the thigh shows as hip rotation that was not there at the last address (the gyroscope counts it
as turning), and as gravity that lies otherwise in the sensor; a player who sets a foot otherwise turns the hip too, but
leaves gravity where it was. Tipping shows in gravity alone.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imufeedback.records import Floats

LEAST_TURN_RAD, LEAST_TWICE_RAD = float(np.deg2rad(6.0)), float(np.deg2rad(5.0))
"""At one address, and in the mean of two."""
LEAST_TIP_RAD = float(np.deg2rad(9.0))
"""A player bends differently from address to address: 38 seeded sessions of 12 addresses before any slip had up to
6.8°."""
USUAL_TURN_RAD, USUAL_TIP_RAD = float(np.deg2rad(1.5)), float(np.deg2rad(1.2))
"""Scatter of a player about whom nothing is known yet: from address to address. Chosen."""
KNOWN_AFTER = 3
TIMES_SCATTER = 3.5
DRIFT_RAD_S = float(np.deg2rad(4.0)) / 60.0
"""Between two sensors' headings: VQF 6D on BROAD drifts 2.8 °/min a sensor (median, computed)."""
KEEP, LOCAL = 20, 6


@dataclass(frozen=True, slots=True)
class Slip:
    """A strap that moved."""

    turn_rad: float
    """About the segment's long axis; 0 when it only tipped."""
    tip_rad: float
    """Of gravity in the segment, beyond what the turn explains."""


@dataclass
class SlipWatch:
    """One segment's addresses. What was noticed begins a new count: from then on it is the strap's usual place."""

    turns: list[float] = field(default_factory=list)
    """Rotation at each address against the first one: summed, so that one odd stance does not count twice."""
    ups: list[Floats] = field(default_factory=list)

    def address(self, turn_rad: float | None, up: Floats, since_s: float) -> Slip | None:
        """One more address: rotation against the one before (None when not known), `up` (3,) in the segment, and the
        time since then."""
        self.turns = [*self.turns[-KEEP:], (self.turns[-1] if self.turns else 0.0) + (turn_rad or 0.0)]
        self.ups = [*self.ups[-KEEP:], up]
        drift = DRIFT_RAD_S * since_s
        slip = self._turned(1, LEAST_TURN_RAD, drift) or self._turned(2, LEAST_TWICE_RAD, drift) or self._tipped()
        if slip is not None:
            self.turns, self.ups = self.turns[-1:], self.ups[-1:]
        return slip

    def _turned(self, last: int, least_rad: float, drift_rad: float) -> Slip | None:
        """Whether the last address, or the mean of the last two, is turned away from those before."""
        earlier = np.array(self.turns[:-last][-LOCAL:])
        if len(earlier) < (1 if last == 1 else KNOWN_AFTER):
            return None
        turn = float(np.mean(self.turns[-last:]) - np.median(earlier))
        spread = np.hypot(_scatter((earlier - np.median(earlier)).tolist(), USUAL_TURN_RAD), drift_rad)
        # of the difference of a mean and a median
        spread *= np.sqrt(1.0 / last + 1.0 / min(len(earlier), 4))
        if abs(turn) <= max(least_rad, TIMES_SCATTER * float(spread)):
            return None
        usual, scatter = self._usual(last)
        now = np.mean(self.ups[-last:], axis=0)
        stays, turned = (float(np.linalg.norm(now - one)) for one in (usual, _about_y(usual, turn)))
        # gravity must not speak against it
        against = last * (turned**2 - stays**2) / (2 * scatter**2)
        return Slip(turn, turned) if against < 1.0 else None

    def _tipped(self) -> Slip | None:
        if len(self.ups) < 2:
            return None
        usual, scatter = self._usual(1)
        away = float(np.linalg.norm(self.ups[-1] - usual))
        return Slip(0.0, away) if away > max(LEAST_TIP_RAD, TIMES_SCATTER * scatter) else None

    def _usual(self, last: int) -> tuple[Floats, float]:
        """Where up usually was in the segment, and its scatter."""
        earlier = self.ups[:-last][-LOCAL:]
        usual = np.median(np.array(earlier), axis=0)
        usual /= np.linalg.norm(usual)
        return usual, _scatter([float(np.linalg.norm(one - usual)) for one in earlier], USUAL_TIP_RAD)


def _scatter(values: list[float], usual: float) -> float:
    """Root mean square, leaning on what is usual until enough is known; the largest one is left out, lest one odd
    address hide the next."""
    kept = sorted(abs(one) for one in values)[: max(len(values) - 1, 0)]
    own = sum(one * one for one in kept)
    return float(np.sqrt((KNOWN_AFTER * usual**2 + own) / (KNOWN_AFTER + len(kept))))


def _about_y(v: Floats, angle_rad: float) -> Floats:
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    return np.array([c * v[0] + s * v[2], v[1], c * v[2] - s * v[0]])
