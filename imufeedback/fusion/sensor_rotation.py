"""Quaternions (scalar first) of one sensor, as far as a filter that begins anew needs them."""

from __future__ import annotations

import math

import numpy as np

from imufeedback.quaternions import product
from imufeedback.records import Floats


def to_earth(q_es: Floats, vector: Floats) -> Floats:
    """(N, 3) vectors of the sensor's frame in the earth's."""
    w, v = q_es[:, :1], q_es[:, 1:]
    across = 2.0 * _cross(v, vector)
    out: Floats = vector + w * across + _cross(v, across)
    return out


def _cross(a: Floats, b: Floats) -> Floats:
    """(N, 3) a × b; for few rows much faster than numpy's, which is for arrays of any shape."""
    (x, y, z), (p, q, r) = a.T, b.T
    out: Floats = np.array((y * r - z * q, z * p - x * r, x * q - y * p)).T
    return out


def turned(q_es: Floats, vector: Floats) -> Floats:
    """(4,) an orientation after a turn by a rotation vector (3,), sensor frame."""
    angle = float(np.linalg.norm(vector)) + 1e-12
    return product(q_es, np.concatenate(([math.cos(0.5 * angle)], math.sin(0.5 * angle) / angle * vector)))


def heading_to(wanted: Floats, q_es: Floats) -> float:
    """Turn (rad) about the vertical that brings `q_es` (4,) closest to `wanted` (4,)."""
    w, _, _, z = product(wanted, q_es * np.array([1.0, -1.0, -1.0, -1.0]))
    return 2.0 * math.atan2(z, w)


def with_heading(turn_rad: float, q_es: Floats) -> Floats:
    """(..., 4) orientations turned about the vertical."""
    return product(np.array([math.cos(0.5 * turn_rad), 0.0, 0.0, math.sin(0.5 * turn_rad)]), q_es)


def up_of(q_es: Floats) -> Floats:
    """(..., 3) the earth's vertical in the sensor, of orientations (..., 4)."""
    w, x, y, z = q_es.T
    return np.array([2 * (x * z - w * y), 2 * (y * z + w * x), w * w - x * x - y * y + z * z]).T


def angle_between(a: Floats, b: Floats) -> float:
    """Angle (rad) between two vectors (3,) of any length."""
    return math.atan2(float(np.linalg.norm(np.cross(a, b))), float(a @ b))
