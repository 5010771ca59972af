"""Pelvis angles: rotation, then obliquity, then tilt (Baker, Gait Posture 2001;13:1-6).

In a y-up earth ``P = Ry(ψ)·Rx(ο)·Rz(ζ)``, scipy's intrinsic ``'YXZ'``. ψ > 0 turns to the player's left, ο > 0 lifts
the left side, ζ < 0 tips forward. Named for the player: turn + towards the target, side tilt + lead side up, forward
tilt + tipped forward. For a right-hander the target is to the left and the left side leads; for a left-hander both are
mirrored, so turn and side tilt change sign together.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from imufeedback.body import jcs
from imufeedback.body.matrices import about_vertical
from imufeedback.records import Floats, Hand

Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Takes coordinates in a z-up earth (x forward, y left) to ISB's y-up earth (x forward, y up, z right)."""


def signs(hand: Hand) -> Floats:
    """(3,) factors from raw (ψ, ο, ζ) to (turn, side tilt, forward tilt)."""
    mirror = 1.0 if hand is Hand.RIGHT else -1.0
    return np.array([mirror, mirror, -1.0])


def as_joint(R_eb: Floats, zero_rad: float = 0.0) -> Floats:
    """(..., 3, 3) pelvis→earth (z up), turned back by `zero_rad`, as a rotation whose joint angles (`jcs`) are
    (-ζ, -ο, -ψ).

    ``Pᵀ = Rz(-ζ)·Rx(-ο)·Ry(-ψ)``: the earth hangs from the pelvis as a thigh does.
    """
    return R_eb.swapaxes(-1, -2) @ _from_earth(zero_rad)


@lru_cache(maxsize=8)
def _from_earth(zero_rad: float) -> Floats:
    """(3, 3) it stays the same from one zero to the next."""
    out: Floats = (Y_UP @ about_vertical(-zero_rad)).T
    return out


def from_joint(raw: Floats) -> Floats:
    """(..., 3) raw (ψ, ο, ζ) from the joint angles of `as_joint`; likewise their rates."""
    return -raw[..., ::-1]


def forward_tilts(up: Floats) -> Floats:
    """(N,) -ζ (rad) from (N, 3) the vertical in the pelvis; the heading does not matter."""
    out: Floats = -np.arctan2(up[:, 0], up[:, 1])
    return out


def turn(R_eb: Floats, zero_rad: float) -> float:
    """ψ (rad) of one pose (3, 3), its earth turned back by `zero_rad`: by the pelvis' z. NaN near the pole."""
    x, y, up = R_eb[:, 2].tolist()
    if 1.0 - up * up < jcs.NEAR_POLE_COS2:
        return math.nan
    c, s = math.cos(zero_rad), math.sin(zero_rad)
    return -math.atan2(-(c * x + s * y), s * x - c * y)
