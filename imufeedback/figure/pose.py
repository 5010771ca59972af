"""Pelvis and legs as a few points in space.

Lengths are those of an adult and only for the picture; angles are measured. Thigh and pelvis axes are those of the
sign table in ``DEVELOPERS.md``: x anterior, y up, z right, seen from the player's own address.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats, Hand, Side

HIP_HALF_M, THIGH_M, SHANK_M, TRUNK_M = 0.09, 0.42, 0.42, 0.16
"""Half the distance between the hips, and the lengths of thigh, shank and the pelvis up to the waist: of an adult, for
the picture only."""

PELVIS = ("pelvis_turn_deg", "pelvis_side_tilt_deg", "pelvis_forward_tilt_deg")
HIP = ("flexion", "adduction", "internal_rotation")
POSE = (
    *PELVIS,
    *(f"{side}_hip_{name}_deg" for side in (Side.LEFT, Side.RIGHT) for name in HIP),
    *(f"{side}_knee_flexion_deg" for side in (Side.LEFT, Side.RIGHT)),
)
"""The angles of one pose in their order; the names are those of a trace's columns."""
TURN, SIDE_TILT, FORWARD = range(3)
_FIRST = {Side.LEFT: 3, Side.RIGHT: 6}
KNEE_OF = {Side.LEFT: 9, Side.RIGHT: 10}
_UP, _RIGHT = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])


@dataclass(frozen=True, slots=True)
class FigurePoints:
    """Points in metres, y up, by name: ``waist``, ``left_hip``, ``left_knee``, ``left_ankle`` and right."""

    points: Mapping[str, Floats]
    """(3,) each; what is not known is missing."""
    pelvis: Floats
    """(3, 3) pelvis to earth."""


def hip_of(side: Side) -> int:
    """Place of a hip's flexion in a pose; adduction and internal rotation follow."""
    return _FIRST[side]


def body(pose: Sequence[float] | Floats, hand: Hand) -> FigurePoints | None:
    """The body of one pose ``(11,)`` in degrees, NaN where not known; None where the pelvis is not known.

    A leg whose hip is not known is left out. A knee that carries no sensor has no shank, nor has a leg whose hip
    rotation is not known: that turns the shank and not the thigh.
    """
    sign = 1.0 if hand is Hand.RIGHT else -1.0
    turn, side_tilt, forward = (float(pose[k]) for k in range(3))
    if not all(map(math.isfinite, (turn, side_tilt, forward))):
        return None
    pelvis = _turn(1, sign * turn) @ _turn(0, sign * side_tilt) @ _turn(2, -forward)
    points = {"waist": pelvis @ (TRUNK_M * _UP)}
    for side in Side:
        mirror = 1.0 if side is Side.RIGHT else -1.0
        flexion, adduction, rotation = (float(pose[_FIRST[side] + k]) for k in range(3))
        if not (math.isfinite(flexion) and math.isfinite(adduction)):
            continue
        turned = math.isfinite(rotation)
        thigh = pelvis @ _turn(2, flexion) @ _turn(0, mirror * adduction)
        thigh = thigh @ _turn(1, mirror * rotation if turned else 0.0)
        hip = pelvis @ (mirror * HIP_HALF_M * _RIGHT)
        points[f"{side}_hip"] = hip
        points[f"{side}_knee"] = hip - thigh @ (THIGH_M * _UP)
        knee = float(pose[KNEE_OF[side]])
        if turned and math.isfinite(knee):
            shank = thigh @ _turn(2, -knee)
            points[f"{side}_ankle"] = points[f"{side}_knee"] - shank @ (SHANK_M * _UP)
    return FigurePoints(points, pelvis)


def _turn(axis: int, angle_deg: float) -> Floats:
    """Rotation matrix about x, y or z."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    if axis == 0:
        return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    if axis == 1:
        return np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
