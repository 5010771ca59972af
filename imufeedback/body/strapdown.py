"""Orientation by integrating a gyroscope alone.

No accelerometer pulls on it, so between two sensors it errs only by what the gyroscopes err: slowly. That is what the
joint constraint needs; a tilt-corrected orientation jitters by half a degree within a stride.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

Quaternion = tuple[float, float, float, float]
Vector = Sequence[float]

UNIT: Quaternion = (1.0, 0.0, 0.0, 0.0)


def advanced(q: Quaternion, rates: Sequence[Vector], before: Vector, step_s: float) -> list[Quaternion]:
    """Orientation after each of N samples.

    `rates` (N, 3) in rad/s, sensor frame, `before` the sample before them: a step turns by the mean of its two ends.
    Plain numbers: for the handful of samples in a packet they are faster than arrays.
    """
    out: list[Quaternion] = []
    w, x, y, z = q
    half = 0.25 * step_s  # half of the mean of two
    px, py, pz = before
    for rx, ry, rz in rates:
        ax, ay, az = (rx + px) * half, (ry + py) * half, (rz + pz) * half
        px, py, pz = rx, ry, rz
        square = ax * ax + ay * ay + az * az
        if square < 1e-4:  # series: exact to 1e-13 below half a degree
            c, s = 1.0 - square / 2.0 + square * square / 24.0, 1.0 - square / 6.0 + square * square / 120.0
        else:
            angle = math.sqrt(square)
            c, s = math.cos(angle), math.sin(angle) / angle
        bx, by, bz = s * ax, s * ay, s * az
        w, x, y, z = (
            w * c - x * bx - y * by - z * bz,
            w * bx + x * c + y * bz - z * by,
            w * by - x * bz + y * c + z * bx,
            w * bz + x * by - y * bx + z * c,
        )
        out.append((w, x, y, z))
    norm = math.sqrt(w * w + x * x + y * y + z * z)
    if out:
        out[-1] = (w / norm, x / norm, y / norm, z / norm)
    return out
