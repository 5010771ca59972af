"""Legs from the ground up: feet planted, the pelvis' pose given, knee and hip angles follow (a closed chain).

Hip centres come from the pelvis, ankles from the feet; thigh, shank and the distance between hip and ankle give the
knee's bend (cosine rule). What is left is the swivel about the line from hip to ankle: the plane of the leg heads where
the foot points, less the torsion between foot and knee, and goes along with the pelvis by what knee and foot give about
the shank. Flexion and adduction follow from pelvis pose and planted feet with nothing fitted; only that give and the
feet's pivot set the rotation.

Axes: x ahead, y up, z to the trail side of a right-hander; pelvis ``Ry(turn) · Rx(side) · Rz(-forward)`` (Baker, Gait
Posture 2001;13:1-6), hips by Grood & Suntay (J Biomech Eng 1983;105:136-44). Angles are told as lead and trail, so a
left-hander's are the same. Arrays are (N, T), N bodies at T instants, or broadcast against that; radians and metres.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from imufeedback.records import Floats

LEAD, TRAIL = -1.0, 1.0
"""Sides, as the sign of their z."""
BALL, ANKLE_UP, BALL_UP = 0.075, 0.039, 0.012
"""Ankle to ball of the foot, height of the ankle and of the ball; parts of the stature (Winter, after Drillis &
Contini 1966, from memory; the last one chosen)."""
THIGH, SHANK, HALF_HIP = 0.245, 0.246, 0.049
"""Lengths of thigh and shank, half the width between the hip centres; parts of the stature, from the same."""
STRAIGHT = 0.9995
"""A leg is not stretched beyond this part of its length."""


@dataclass(frozen=True, slots=True)
class Pelvis:
    """Where the pelvis is; its origin is midway between the hip centres."""

    turn: Floats
    """Towards the target …"""
    side: Floats
    """… lead side up …"""
    forward: Floats
    """… tipped forward: positive."""
    ahead_m: Floats
    height_m: Floats
    to_target_m: Floats

    def axes(self) -> Floats:
        """(N, T, 3, 3) pelvis to world."""
        return _about(1, self.turn) @ _about(0, self.side) @ _about(2, -self.forward)

    def origin_m(self) -> Floats:
        return _stacked(self.ahead_m, self.height_m, -self.to_target_m)


@dataclass(frozen=True, slots=True)
class Foot:
    """One foot and how its leg stands on it."""

    side: float
    """`LEAD` or `TRAIL`."""
    stature_m: Floats
    stance_m: Floats
    """From ankle to ankle."""
    flare: Floats
    """Outward."""
    torsion: Floats
    """From foot to knee; the knee points less outward."""
    give: Floats
    """Part of the pelvis' turn over the foot that knee and foot take up about the shank …"""
    give_end: Floats
    """… and where it ends."""


@dataclass(frozen=True, slots=True)
class Leg:
    """Angles of one leg, clinical signs: flexion, adduction, internal rotation, knee bend positive."""

    flexion: Floats
    adduction: Floats
    rotation: Floats
    knee: Floats
    reach: Floats
    """Hip to ankle, as a part of the leg's length; above 1 it cannot stand there."""


def leg(pelvis: Pelvis, foot: Foot, pitch: Floats, pivot: Floats, more: Floats | float = 0.0) -> Leg:
    """The leg between pelvis and foot; the heel is up by `pitch`, the foot has turned by `pivot` about its ball, and
    the leg goes along with the turn by `more` beyond what it gives."""
    axes, thigh_m, shank_m = pelvis.axes(), THIGH * foot.stature_m, SHANK * foot.stature_m
    hip = _hip(pelvis, foot, axes)
    ankle = _ankle(foot, pitch, pivot)
    along = hip - ankle
    apart = np.linalg.norm(along, axis=-1)
    along /= apart[..., None]
    length = np.minimum(apart, STRAIGHT * (thigh_m + shank_m))
    ahead = _ahead(heading(foot, pelvis.turn, pivot) + more)
    front = ahead - np.sum(ahead * along, axis=-1, keepdims=True) * along
    front /= np.linalg.norm(front, axis=-1, keepdims=True)
    up = (shank_m**2 + length**2 - thigh_m**2) / (2 * length)
    out = np.sqrt(np.maximum(shank_m**2 - up**2, 0.0))
    knee = ankle + up[..., None] * along + out[..., None] * front
    femur = ankle + length[..., None] * along - knee
    femur /= np.linalg.norm(femur, axis=-1, keepdims=True)
    shank = ankle - knee
    shank /= np.linalg.norm(shank, axis=-1, keepdims=True)
    across = np.cross(front, along)
    thigh = np.stack([np.cross(femur, across), femur, across], axis=-1)
    joint = np.swapaxes(axes, -1, -2) @ thigh
    return Leg(
        flexion=np.arctan2(-joint[..., 0, 1], joint[..., 1, 1]),
        adduction=foot.side * np.arcsin(np.clip(joint[..., 2, 1], -1.0, 1.0)),
        rotation=foot.side * np.arctan2(-joint[..., 2, 0], joint[..., 2, 2]),
        knee=np.pi - np.arccos(np.clip(np.sum(femur * shank, axis=-1), -1.0, 1.0)),
        reach=apart / (thigh_m + shank_m),
    )


def height_m(pelvis: Pelvis, foot: Foot, pivot: Floats, knee: Floats) -> Floats:
    """Where the pelvis' origin must be for this bend of the knee over a flat foot; its own height does not matter."""
    apart = _apart(foot, knee)
    ground = replace(pelvis, height_m=np.zeros_like(pelvis.turn))
    along = _hip(ground, foot, ground.axes()) - _ankle(foot, np.zeros_like(pelvis.turn), pivot)
    beside = along[..., 0] ** 2 + along[..., 2] ** 2
    height: Floats = np.sqrt(np.maximum(apart**2 - beside, 0.0)) - along[..., 1]
    return height


def heel(pelvis: Pelvis, foot: Foot, pivot: Floats, knee: Floats, most: npt.ArrayLike) -> Floats:
    """How far the heel must be up for this bend of the knee: from flat to `most`, the nearer end where none does it."""
    flat = np.zeros_like(pelvis.turn)
    hip = _hip(pelvis, foot, pelvis.axes()) - _ball(foot, flat)
    along = np.sum(hip * _ahead(pivot - foot.side * foot.flare), axis=-1)
    ball, up = BALL * foot.stature_m, (ANKLE_UP - BALL_UP) * foot.stature_m
    # The ankle goes round the ball, so its distance from the hip has one cosine of the pitch in it.
    x, y = up * hip[..., 1] - ball * along, up * along + ball * hip[..., 1]
    wanted = (np.sum(hip**2, axis=-1) + ball**2 + up**2 - _apart(foot, knee) ** 2) / (2 * np.hypot(x, y))
    pitch: Floats = np.clip(np.arctan2(y, x) - np.arccos(np.clip(wanted, -1.0, 1.0)), 0.0, np.asarray(most))
    return pitch


def _apart(foot: Foot, knee: Floats) -> Floats:
    """Hip to ankle of a leg that is so bent."""
    thigh, shank = THIGH * foot.stature_m, SHANK * foot.stature_m
    apart: Floats = np.sqrt(thigh**2 + shank**2 + 2 * thigh * shank * np.cos(knee))
    return apart


def _hip(pelvis: Pelvis, foot: Foot, axes: Floats) -> Floats:
    centre: Floats = pelvis.origin_m() + (foot.side * HALF_HIP * foot.stature_m)[..., None] * axes[..., :, 2]
    return centre


def _ankle(foot: Foot, pitch: Floats, pivot: Floats) -> Floats:
    """The heel is lifted and the foot turned about the ball, which stays on the ground."""
    ball, up = BALL * foot.stature_m, (ANKLE_UP - BALL_UP) * foot.stature_m
    nothing = np.zeros_like(pitch + pivot + foot.stature_m)
    back = up * np.sin(pitch) - ball * np.cos(pitch) + nothing
    high = up * np.cos(pitch) + ball * np.sin(pitch) + nothing
    yaw = pivot - foot.side * foot.flare
    return _ball(foot, nothing) + back[..., None] * _ahead(yaw + nothing) + _stacked(nothing, high, nothing)


def _ball(foot: Foot, nothing: Floats) -> Floats:
    """Of the foot as it was put down, which does not turn about the ball."""
    at = _stacked(nothing, nothing + BALL_UP * foot.stature_m, nothing + foot.side * foot.stance_m / 2)
    ball: Floats = at + (BALL * foot.stature_m + nothing)[..., None] * _ahead(nothing - foot.side * foot.flare)
    return ball


def heading(foot: Foot, turn: Floats, pivot: Floats) -> Floats:
    """Where the plane of the leg heads when it gives as it does."""
    yaw = -foot.side * (foot.flare - foot.torsion) + pivot
    heads: Floats = yaw + foot.give_end * np.tanh(foot.give * (turn - pivot) / foot.give_end)
    return heads


def _ahead(yaw: Floats) -> Floats:
    return _stacked(np.cos(yaw), np.zeros_like(yaw), -np.sin(yaw))


def _stacked(*parts: Floats) -> Floats:
    return np.stack(np.broadcast_arrays(*parts), axis=-1)


def _about(axis: int, angle: Floats) -> Floats:
    """(..., 3, 3) turn about x, y or z."""
    b, c = (axis + 1) % 3, (axis + 2) % 3
    out = np.zeros((*np.shape(angle), 3, 3))
    out[..., axis, axis] = 1.0
    out[..., b, b] = out[..., c, c] = np.cos(angle)
    out[..., c, b] = np.sin(angle)
    out[..., b, c] = -out[..., c, b]
    return out
