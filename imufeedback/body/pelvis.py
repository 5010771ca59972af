"""Pelvis angles: rotation, then obliquity, then tilt (Baker, Gait Posture 2001;13:1-6).

In a y-up earth ``P = Ry(ψ)·Rx(ο)·Rz(ζ)``, scipy's intrinsic ``'YXZ'``. ψ > 0 turns to the player's left, ο > 0 lifts
the left side, ζ < 0 tips forward. Named for the player: turn + towards the target, side tilt + lead side up, forward
tilt + tipped forward. For a right-hander the target is to the left and the left side leads; for a left-hander both are
mirrored, so turn and side tilt change sign together.
"""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats, Hand

Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
"""Takes coordinates in a z-up earth (x forward, y left) to ISB's y-up earth (x forward, y up, z right)."""


def signs(hand: Hand) -> Floats:
    """(3,) factors from raw (ψ, ο, ζ) to (turn, side tilt, forward tilt)."""
    mirror = 1.0 if hand is Hand.RIGHT else -1.0
    return np.array([mirror, mirror, -1.0])


def angles(R_eb: Floats) -> Floats:
    """(..., 3, 3) pelvis→earth (z up) to (..., 3) raw (ψ, ο, ζ) in radians."""
    P = Y_UP @ R_eb
    out = np.empty((*P.shape[:-2], 3))
    out[..., 1] = np.arcsin(np.clip(-P[..., 1, 2], -1.0, 1.0))
    out[..., 0] = np.arctan2(P[..., 0, 2], P[..., 2, 2])
    out[..., 2] = np.arctan2(P[..., 1, 0], P[..., 1, 1])
    return out


def rate_matrix(raw: Floats) -> Floats:
    """(..., 3, 3) J with ``d(ψ, ο, ζ)/dt = J·ω``; ω (rad/s) of the pelvis in pelvis coordinates."""
    sin_o, cos_o = np.sin(raw[..., 1]), np.cos(raw[..., 1])
    sin_z, cos_z = np.sin(raw[..., 2]), np.cos(raw[..., 2])
    J = np.zeros((*raw.shape[:-1], 3, 3))
    J[..., 0, 0], J[..., 0, 1] = sin_z / cos_o, cos_z / cos_o
    J[..., 1, 0], J[..., 1, 1] = cos_z, -sin_z
    J[..., 2, 0], J[..., 2, 1] = J[..., 0, 0] * sin_o, J[..., 0, 1] * sin_o
    J[..., 2, 2] = 1.0
    return J
