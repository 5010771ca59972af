"""Rotation matrices on stacks of samples."""

from __future__ import annotations

import math

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.records import Bools, Floats


def from_q(q: Floats) -> Floats:
    """(..., 4) scalar-first unit quaternions to (..., 3, 3); rows that are not finite become NaN matrices."""
    flat = q.reshape(-1, 4)
    bad: Bools = np.logical_not(np.isfinite(flat).all(axis=1))
    if bad.any():
        flat = np.where(bad[:, None], np.array([1.0, 0.0, 0.0, 0.0]), flat)
    out = Rotation.from_quat(flat, scalar_first=True).as_matrix()
    if bad.any():
        out[bad] = np.nan
    shaped: Floats = out.reshape(*q.shape[:-1], 3, 3)
    return shaped


def to_q(matrix: Floats) -> Floats:
    """(..., 3, 3) to scalar-first quaternions with w >= 0."""
    q: Floats = Rotation.from_matrix(matrix).as_quat(scalar_first=True, canonical=True)
    return q


def about_vertical(angle_rad: float) -> Floats:
    """(3, 3) rotation about earth's z."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
