"""Products and turns of quaternions, scalar first, on stacks of rows: all that the stages need of them.

A library has them too, but to load it takes most of the time in which a worker starts.
"""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats


def product(a: Floats, b: Floats) -> Floats:
    """(..., 4) a⊗b; leading axes broadcast."""
    w, x, y, z = a[..., 0], a[..., 1], a[..., 2], a[..., 3]
    p, q, r, s = b[..., 0], b[..., 1], b[..., 2], b[..., 3]
    parts = (
        w * p - x * q - y * r - z * s,
        w * q + x * p + y * s - z * r,
        w * r - x * s + y * p + z * q,
        w * s + x * r - y * q + z * p,
    )
    return np.stack(parts, axis=-1)


def inverse(q: Floats) -> Floats:
    """(..., 4) of unit quaternions."""
    out: Floats = q * np.array([1.0, -1.0, -1.0, -1.0])
    return out


def by_vector(vector_rad: Floats) -> Floats:
    """(..., 4) turns by rotation vectors (..., 3)."""
    angle = np.sqrt((vector_rad * vector_rad).sum(axis=-1))[..., None]
    # sin(θ/2)/θ, which numpy's sinc gives at 0 as well
    return np.concatenate((np.cos(0.5 * angle), 0.5 * np.sinc(angle / (2.0 * np.pi)) * vector_rad), axis=-1)


def about(axis: int, angle_rad: Floats) -> Floats:
    """(N, 4) turns by angles (N,) about the axis with this number."""
    out = np.zeros((len(angle_rad), 4))
    out[:, 0], out[:, 1 + axis] = np.cos(0.5 * angle_rad), np.sin(0.5 * angle_rad)
    return out


def angle_of(q: Floats) -> Floats:
    """(...) how far (rad) the turns (..., 4) go, the short way round."""
    out: Floats = 2.0 * np.arctan2(np.sqrt((q[..., 1:] ** 2).sum(axis=-1)), np.abs(q[..., 0]))
    return out


def unit(q: Floats) -> Floats:
    """(..., 4) of length 1."""
    out: Floats = q / np.sqrt((q * q).sum(axis=-1))[..., None]
    return out


def from_matrix(matrix: Floats) -> Floats:
    """(..., 4) with w >= 0 of rotation matrices (..., 3, 3).

    Of ``4·q⊗q``, whose entries are sums of the matrix's, the row with the largest diagonal is the one that rounding
    harms least (Shepperd, J Guidance Control 1978;1:223-4).
    """
    m = matrix.reshape(-1, 3, 3)
    xx, yy, zz = m[:, 0, 0], m[:, 1, 1], m[:, 2, 2]
    wx, wy, wz = m[:, 2, 1] - m[:, 1, 2], m[:, 0, 2] - m[:, 2, 0], m[:, 1, 0] - m[:, 0, 1]
    xy, xz, yz = m[:, 0, 1] + m[:, 1, 0], m[:, 0, 2] + m[:, 2, 0], m[:, 1, 2] + m[:, 2, 1]
    rows = np.stack(
        [
            np.stack([1 + xx + yy + zz, wx, wy, wz], axis=-1),
            np.stack([wx, 1 + xx - yy - zz, xy, xz], axis=-1),
            np.stack([wy, xy, 1 - xx + yy - zz, yz], axis=-1),
            np.stack([wz, xz, yz, 1 - xx - yy + zz], axis=-1),
        ],
        axis=-2,
    )
    best = np.argmax(np.diagonal(rows, axis1=-2, axis2=-1), axis=-1)
    q = unit(rows[np.arange(len(m)), best])
    out: Floats = np.where(q[:, :1] < 0.0, -q, q).reshape(*matrix.shape[:-2], 4)
    return out
