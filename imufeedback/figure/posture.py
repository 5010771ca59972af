"""The postures that steps of drills and pages of explanation are drawn in, for both hands.

Angles in degrees in the player's own signs (DEVELOPERS.md, Signs). Pelvis turn at top and impact: Zheng et al., Int J
Sports Med 2008;29:965-70; the rest: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.figure.drawing import View
from imufeedback.figure.pose import KNEE_OF, POSE, hip_of
from imufeedback.records import Floats, Hand

VIEWS = (View.TARGET_LINE, View.TOP)
"""A step is shown from the side and from above."""


@dataclass(frozen=True, slots=True)
class LegPose:
    """One leg, in the order of a pose."""

    flexion: float
    adduction: float
    rotation: float
    knee: float


@dataclass(frozen=True, slots=True)
class Posture:
    """Pelvis and both legs."""

    turn: float
    side_tilt: float
    forward_tilt: float
    trail: LegPose
    lead: LegPose


POSTURES: Mapping[str, Posture] = {
    "address": Posture(0, 0, 18, LegPose(30, -8, 0, 20), LegPose(30, -8, 0, 20)),
    "top": Posture(-42, -8, 16, LegPose(23, 3, 36, 15), LegPose(36, -15, -36, 31)),
    "half-way": Posture(0, 0, 15, LegPose(14, -6, 0, 24), LegPose(26, -6, 0, 20)),
    "impact": Posture(42, 8, 12, LegPose(3, -12, -36, 34), LegPose(15, 2, 36, 12)),
    "finish": Posture(85, 6, 2, LegPose(-6, -10, -55, 50), LegPose(8, 5, 55, 6)),
    "half-back": Posture(-25, -4, 17, LegPose(26, -2, 21, 17), LegPose(33, -11, -21, 26)),
    "half-through": Posture(35, 6, 12, LegPose(5, -10, -30, 30), LegPose(18, 0, 30, 14)),
    "trail-turn-in": Posture(-30, 0, 0, LegPose(14, 0, 30, 10), LegPose(-12, 0, -20, 8)),
    "trail-turn-out": Posture(30, 0, 0, LegPose(14, 0, -30, 10), LegPose(-12, 0, 20, 8)),
    "lead-turn-in": Posture(30, 0, 0, LegPose(-12, 0, -20, 8), LegPose(14, 0, 30, 10)),
    "lead-turn-out": Posture(-30, 0, 0, LegPose(-12, 0, 20, 8), LegPose(14, 0, -30, 10)),
    "block": Posture(42, 8, 12, LegPose(24, -8, 2, 30), LegPose(24, -4, 2, 18)),
    "pushed-back": Posture(-25, -4, 22, LegPose(34, 0, 20, 18), LegPose(34, -10, -18, 26)),
}
"""By the names that a drill's steps use, and two more for the pages: pelvis and legs as one block, a hip that pushed
back."""


def pose_of(name: str, hand: Hand) -> Floats:
    """``(11,)`` in the order of `figure.pose.POSE`. Raises KeyError for a name that is not there."""
    posture = POSTURES[name]
    pose = np.zeros(len(POSE))
    pose[:3] = posture.turn, posture.side_tilt, posture.forward_tilt
    for side, leg in ((hand.trail, posture.trail), (hand.lead, posture.lead)):
        first = hip_of(side)
        pose[first : first + 3] = leg.flexion, leg.adduction, leg.rotation
        pose[KNEE_OF[side]] = leg.knee
    return pose
