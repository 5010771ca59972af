"""Pelvis and legs as a few points in space, and their pictures from any side. No Qt here.

Lengths are those of an adult and only for the picture; angles are measured. Thigh and pelvis axes are those of the
sign table in ``DEVELOPERS.md``: x anterior, y up, z right, seen from the player's own address.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.record.trace import Stretch
from imufeedback.records import Floats, Hand, Side

HIP_HALF_M, THIGH_M, SHANK_M, TRUNK_M = 0.09, 0.42, 0.42, 0.16
_UP = np.array([0.0, 1.0, 0.0])
_RIGHT = np.array([0.0, 0.0, 1.0])


class View(StrEnum):
    """Where the picture is taken from."""

    FACE_ON = "face on"
    TARGET_LINE = "along the target line"
    TOP = "from above"
    PELVIS = "square to the pelvis"
    """Along the line through both hips, turning with the pelvis: a view that no camera can give. The thigh angle is
    the angle that is seen."""


@dataclass(frozen=True, slots=True)
class Figure:
    """Points in metres, y up, by name: ``waist``, ``left_hip``, ``left_knee``, ``left_ankle`` and right."""

    points: dict[str, Floats]
    """(3,) each."""
    pelvis: Rotation
    """Pelvis to earth."""


BONES = (
    ("left_hip", "right_hip"),
    ("left_hip", "waist"),
    ("right_hip", "waist"),
    *((f"{side}_hip", f"{side}_knee") for side in Side),
    *((f"{side}_knee", f"{side}_ankle") for side in Side),
)


def figure(stretch: Stretch, row: int, hand: Hand) -> Figure | None:
    """The figure at one row; None where the pelvis or a hip's flexion is not known. A knee that carries no sensor has
    no shank, nor has a leg whose hip rotation is not known: that turns the shank and not the thigh."""
    sign = 1.0 if hand is Hand.RIGHT else -1.0
    turn, side_tilt, forward = (
        float(stretch.angle(name)[row])
        for name in ("pelvis_turn_deg", "pelvis_side_tilt_deg", "pelvis_forward_tilt_deg")
    )
    if not np.isfinite([turn, side_tilt, forward]).all():
        return None
    pelvis = Rotation.from_euler("YXZ", [sign * turn, sign * side_tilt, -forward], degrees=True)
    points = {"waist": pelvis.apply(TRUNK_M * _UP)}
    for side in Side:
        mirror = 1.0 if side is Side.RIGHT else -1.0
        bend = [float(stretch.angle(f"{side}_hip_{name}_deg")[row]) for name in _HIP]
        turned = bool(np.isfinite(bend[2]))
        bend = [*bend[:2], bend[2] if turned else 0.0]
        if not np.isfinite(bend).all():
            return None
        thigh = pelvis * Rotation.from_euler("ZXY", [bend[0], mirror * bend[1], mirror * bend[2]], degrees=True)
        hip = pelvis.apply(mirror * HIP_HALF_M * _RIGHT)
        points[f"{side}_hip"] = hip
        points[f"{side}_knee"] = hip - thigh.apply(THIGH_M * _UP)
        knee = float(stretch.angle(f"{side}_knee_flexion_deg")[row])
        if turned and np.isfinite(knee):
            shank = thigh * Rotation.from_euler("Z", -knee, degrees=True)
            points[f"{side}_ankle"] = points[f"{side}_knee"] - shank.apply(SHANK_M * _UP)
    return Figure(points, pelvis)


_HIP = ("flexion", "adduction", "internal_rotation")


def seen(shown: Figure, view: View, hand: Hand) -> dict[str, tuple[float, float]]:
    """Places in the picture, to the right and upwards, by name.

    Face on, the player's right is on the left. Along the target line the target lies behind the picture, so that a
    left-hander looks the other way. From above, the player looks up the picture.
    """
    points = shown.points
    if view is View.PELVIS:
        back = shown.pelvis.inv()
        points = {name: back.apply(one) for name, one in points.items()}
    towards = 1.0 if hand is Hand.RIGHT else -1.0
    axes = {
        View.FACE_ON: ((0.0, 0.0, -1.0), (0.0, 1.0, 0.0)),
        View.TARGET_LINE: ((towards, 0.0, 0.0), (0.0, 1.0, 0.0)),
        View.TOP: ((0.0, 0.0, 1.0), (1.0, 0.0, 0.0)),
        View.PELVIS: ((towards, 0.0, 0.0), (0.0, 1.0, 0.0)),
    }
    right, up = (np.array(one) for one in axes[view])
    return {name: (float(one @ right), float(one @ up)) for name, one in points.items()}
