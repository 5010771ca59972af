"""Rotation matrices on stacks of samples."""

from __future__ import annotations

import math

import numpy as np

from imufeedback.quaternions import from_matrix
from imufeedback.records import Bools, Floats


def from_q(q: Floats) -> Floats:
    """(..., 4) scalar-first unit quaternions to (..., 3, 3); rows that are not finite become NaN matrices.

    The entries of the matrix are sums of products of two components (scipy gives the same to the last bits, at ten
    times the price for the handful of samples of a packet).
    """
    products = (q[..., :, None] * q[..., None, :]).reshape(-1, 16)
    return (products @ _OF_PRODUCTS).reshape(*q.shape[:-1], 3, 3)


def up_of(q: Floats) -> Floats:
    """(..., 3) earth's up in the sensor: the last row of `from_q`."""
    w, x, y, z = (q[..., k] for k in range(4))
    return np.stack((2.0 * (x * z - w * y), 2.0 * (y * z + w * x), w * w - x * x - y * y + z * z), axis=-1)


def cross(v: Floats) -> Floats:
    """(..., 3, 3) whose product with a vector is the cross product."""
    out = np.zeros((*v.shape, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., k, j], out[..., j, k] = v[..., i], -v[..., i]
    return out


def _of_products() -> Floats:
    """(16, 9) coefficients of ``q⊗q`` in the rotation matrix."""
    out = np.zeros((4, 4, 3, 3))
    w, x, y, z = range(4)
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        a, b, c = (x, y, z)[i], (x, y, z)[j], (x, y, z)[k]
        out[w, w, i, i] = out[a, a, i, i] = 1.0
        out[b, b, i, i] = out[c, c, i, i] = -1.0
        out[a, b, i, j] = out[a, b, j, i] = 2.0
        out[w, c, j, i], out[w, c, i, j] = 2.0, -2.0
    return out.reshape(16, 9)


_OF_PRODUCTS = _of_products()


def to_q(matrix: Floats) -> Floats:
    """(..., 3, 3) to scalar-first quaternions with w >= 0."""
    return from_matrix(matrix)


def about_vertical(angle_rad: float) -> Floats:
    """(3, 3) rotation about earth's z."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])


def some(flags: Bools) -> bool:
    """Whether any of a few flags is set, at a tenth of numpy's price."""
    return b"\1" in flags.tobytes()


def every(flags: Bools) -> bool:
    return b"\0" not in flags.tobytes()
