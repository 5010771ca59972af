"""A player who turns at address: turn still counts from the pose before, so the next swing could not be told from the
way home of a step, and is not counted. That is said while it can be mended."""

from __future__ import annotations

import math
from dataclasses import dataclass

from imufeedback.motion.phases import LEAVE_RAD
from imufeedback.motion.track import Col

STILL_RAD_S, STILL_S = math.radians(3.0), 0.5
"""At rest in the new direction for so long. Chosen: a new zero asks for the same rate."""
FURTHEST_RAD = math.radians(45.0)
"""Who turns further walks away. Chosen."""
SAME_THIGH_RAD = math.radians(12.0)
"""Thighs still flexed as at address: more is no address any more (as `phases.RISEN_RAD`)."""


@dataclass
class Aim:
    """From the moment on at which the turn has left the address towards the target without a swing."""

    address: tuple[float, float]
    """Thigh angles (trail, lead) there, rad."""
    still_since_s: float | None = None
    over: bool = False
    """It has been told, or the player has left."""

    def look(self, row: list[float]) -> str | None:
        """One step of a track; what is to be told, once."""
        turn, trail, lead = row[Col.TURN], row[Col.TRAIL_THIGH], row[Col.LEAD_THIGH]
        if self.over or math.isnan(turn) or math.isnan(trail) or math.isnan(lead):
            return None
        moved = max(abs(trail - self.address[0]), abs(lead - self.address[1]))
        if abs(turn) > FURTHEST_RAD or moved > 2 * SAME_THIGH_RAD:
            self.over = True
        elif abs(row[Col.TURN_RATE]) > STILL_RAD_S or turn < 2 * LEAVE_RAD or moved > SAME_THIGH_RAD:
            self.still_since_s = None
        elif self.still_since_s is None:
            self.still_since_s = row[Col.T]
        elif row[Col.T] - self.still_since_s >= STILL_S:
            self.over = True
            return words(turn)
        return None


def words(turn_rad: float) -> str:
    return (
        f"you have turned by {math.degrees(turn_rad):.0f}\N{DEGREE SIGN} since you set up, so your next swing would "
        "not be counted \N{EN DASH} stand up, then set up again"
    )
