"""Lower envelope of arrival delays: the clock map of one sensor.

A notification is late, never early. So the smallest delays of each stretch of time lie near the line that maps the
device's clock to the host's, and all others above it. The line below all points that lies closest to them is the edge
of the lower convex hull over the points' mean time (Moon, Skelly & Towsley 1999; Zhang, Liu & Xia 2002).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

SKEW_LIMIT = 200e-6
"""Bound on the fitted clock skew. Bluetooth allows ±50 ppm (active) and ±500 ppm (asleep); crystals are within ±40."""


def lower_hull(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Lower convex hull of points sorted by x (Andrew's monotone chain)."""
    hull: list[tuple[float, float]] = []
    for x, y in points:
        while len(hull) >= 2:
            (x1, y1), (x2, y2) = hull[-2], hull[-1]
            if (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1) > 0:
                break
            hull.pop()
        hull.append((x, y))
    return hull


def fit_line_below(points: Sequence[tuple[float, float]], *, min_span: float) -> tuple[float, float]:
    """(offset at x = 0, slope) of the line below all points; slope 0 while they span less than `min_span`.

    Raises ValueError without points.
    """
    if not points:
        raise ValueError("an envelope needs at least one point")
    slope = 0.0
    if points[-1][0] - points[0][0] >= min_span:
        hull = lower_hull(points)
        mean_x = sum(x for x, _ in points) / len(points)
        for (x1, y1), (x2, y2) in itertools.pairwise(hull):
            if x1 <= mean_x <= x2:
                slope = (y2 - y1) / (x2 - x1)
                break
    slope = min(max(slope, -SKEW_LIMIT), SKEW_LIMIT)
    return min(y - slope * x for x, y in points), slope
