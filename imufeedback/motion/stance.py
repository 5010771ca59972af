"""How the hips are turned at address, counted from standing at the calibration: foot flare shows here.

Rotation counts from each address, so the way the feet are set is taken out of it. What an address takes out is what the
hip showed just before, counted from the zero before that: the sum of these is the stance.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from imufeedback.records import Angles, Hand, Side, Zeroed

ROTATION = 2
WIDEST_RAD = np.deg2rad(8.0)
"""A stance with a wider error bar tells no flare from none and is not told; common practice, no source."""


class Turned(NamedTuple):
    """Rotation of one hip in rad, internal positive, and its variance in rad²; NaN where not known."""

    angle_rad: float
    variance: float

    def and_then(self, more: Turned) -> Turned:
        """Two turns, one after the other, with errors of their own."""
        return Turned(self.angle_rad + more.angle_rad, self.variance + more.variance)


UNKNOWN, STANDING = Turned(np.nan, np.nan), Turned(0.0, 0.0)


class _State(NamedTuple):
    newest: dict[Side, Turned]
    """Rotation at the newest instant, from the zero that holds."""
    stance: dict[Side, Turned]
    before: dict[Side, Turned]
    """The stance before the last zero, for when that is undone."""


class Stance:
    """Follows the zeros of a session. `state` is the whole memory."""

    def __init__(self) -> None:
        self.state = _State({}, {}, {})

    def see(self, angles: Angles) -> None:
        """The newest rotation of each hip."""
        if len(angles.t_s):
            newest = {
                one.side: Turned(float(one.angle_rad[-1, ROTATION]), float(one.sd_rad[-1, ROTATION]) ** 2)
                if one.ok[-1, ROTATION]
                else UNKNOWN
                for one in angles.joints
                if one.joint == "hip"
            }
            self.state = self.state._replace(newest=newest)

    def zeroed(self, item: Zeroed) -> None:
        """Rotations count from here."""
        s = self.state
        if item.reason == "undone":
            stance = s.before
        elif item.reason == "stillness":
            stance = dict.fromkeys(Side, STANDING)
        else:
            stance = {side: s.stance.get(side, UNKNOWN).and_then(s.newest.get(side, UNKNOWN)) for side in Side}
        self.state = _State({}, stance, s.stance)

    def features(self, hand: Hand) -> dict[str, float]:
        """``trail_hip_stance_deg`` and ``lead_hip_stance_deg`` with their bars, where they are known well enough."""
        out: dict[str, float] = {}
        for name, side in (("trail", hand.trail), ("lead", hand.lead)):
            turned = self.state.stance.get(side, UNKNOWN)
            if 0.0 < turned.variance <= WIDEST_RAD**2:
                out[f"{name}_hip_stance_deg"] = float(np.rad2deg(turned.angle_rad))
                out[f"{name}_hip_stance_sd_deg"] = float(np.rad2deg(np.sqrt(turned.variance)))
        return out
