"""Straight lines with rounded corners: what a player does with pelvis and feet while the pelvis turns."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from imufeedback.records import Floats

ONSET, CORNER = 0.02, 0.09
"""Turn over which the first slope comes up, and over which a corner is rounded; parts of the whole turn."""


def rounded(knots: Sequence[tuple[float, float]], x: Floats) -> Floats:
    """From rest at the first knot, near the others and through the last; goes on straight behind it.

    Slopes go over into each other by quintic smoothsteps, so the third derivative is continuous.
    """
    at, value = np.array(knots).T
    length = np.diff(at)
    whole = at[-1] - at[0]
    onset = min(ONSET * whole, length[0])
    slope = np.diff(value) / length
    slope[0] = (value[1] - value[0]) / (length[0] - onset / 2)  # half of the onset is lost
    out = value[0] + slope[0] * onset * _eased((x - at[0]) / onset)
    for k in range(1, len(slope)):
        width = min(CORNER * whole, length[k - 1], length[k])
        out = out + (slope[k] - slope[k - 1]) * width * _eased((x - at[k]) / width + 0.5)
    return np.asarray(out)


def smoothstep(u: Floats) -> Floats:
    """0 to 1, at rest at both ends: 10u³ - 15u⁴ + 6u⁵."""
    u = np.clip(u, 0.0, 1.0)
    return np.asarray(u**3 * (10 - 15 * u + 6 * u * u))


def _eased(u: Floats) -> Floats:
    """Integral of the smoothstep from 0: 0 before, ``u - 1/2`` after it."""
    inside = np.clip(u, 0.0, 1.0)
    return np.asarray(inside**4 * (2.5 - 3 * inside + inside**2) + np.maximum(u - 1.0, 0.0))
