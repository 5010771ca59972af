"""Lower envelope of arrival delays: the clock map of one sensor.

A notification is late, never early. So the smallest delays of each stretch of time lie near the line that maps the
device's clock to the host's, and all others above it. The line below all points that lies closest to them is the edge
of the lower convex hull over the points' mean time (Moon, Skelly & Towsley 1999; Zhang, Liu & Xia 2002).

Points are (N, 2): time, delay; their times rise.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import numpy as np

from imufeedback import recursions
from imufeedback.records import Floats

SKEW_LIMIT = 200e-6
"""Bound on the fitted clock skew. Bluetooth allows ±50 ppm (active) and ±500 ppm (asleep); crystals are within ±40."""
USUAL_SKEW = 50e-6
"""How far a crystal usually is off, as a standard deviation: the bound of active Bluetooth clocks."""
LOOSE_LIMIT = 0.15
"""Bound where a counter counts samples, or proves to run at a rate of its own: parts differ by per cents from what
their
documents say, and documents from the part (119 Hz for 104 Hz has been seen)."""
STRAIGHT = 0.25
"""A larger skew than `SKEW_LIMIT` is believed when all points lie this close to its line, as a share of what it
explains.
A radio that becomes faster or slower makes a step, never a line."""
LOOSE_POINTS = 3
STRAIGHT_POINTS = 20
"""Points that must lie on such a line. Over fewer, the beat of packets and connection events looks like one."""


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


def line_below(points: Floats, slope: float) -> float:
    """Offset at x = 0 of the line of this slope that touches the points from below. Raises ValueError without
    points."""
    if not len(points):
        raise ValueError("an envelope needs at least one point")
    return float(_above(points, slope).min())


def likely_skew(points: Floats) -> float:
    """The clock's skew, most likely: that of the envelope of smallest delays (device time, delay), drawn towards none.

    Delays that scatter over a short time say little: a slope that they give has the error scatter / time, and counts
    the less the greater that is beside `USUAL_SKEW` (the mean of two estimates weighed by their variances). It is kept
    within `SKEW_LIMIT`. Raises ValueError without points.
    """
    slope = min(max(middle_slope(points), -SKEW_LIMIT), SKEW_LIMIT)
    span = float(points[-1, 0] - points[0, 0])
    if span <= 0:
        return 0.0
    above = np.sort(_above(points, slope))
    half = len(above) // 2
    scatter = 0.5 * float(above[half] + above[-1 - half]) - float(above[0])
    error = scatter / span
    return slope * USUAL_SKEW**2 / (USUAL_SKEW**2 + error**2)


def fit_loose_line(points: Floats, *, sure: bool) -> tuple[float, float] | None:
    """The line below all points with any slope up to `LOOSE_LIMIT`, or None when that is no matter of the clock's rate.

    `sure` says that the counter is known to have a rate of its own; else only a skew beyond `SKEW_LIMIT` that explains
    all the points is one.
    """
    if len(points) < LOOSE_POINTS:
        return None
    slope = middle_slope(points)
    if abs(slope) > LOOSE_LIMIT or not (sure or abs(slope) > SKEW_LIMIT):
        return None
    above = _above(points, slope)
    offset = float(above.min())
    explained = abs(slope) * (points[-1, 0] - points[0, 0])
    straight = len(points) >= STRAIGHT_POINTS and above.max() - offset <= STRAIGHT * explained
    return (offset, slope) if sure or straight else None


def middle_slope(points: Floats) -> float:
    """Slope of the line below all points that is closest to them on the mean; 0 for a single point."""
    if recursions.core is not None:
        return float(recursions.core.middle(len(points), points.copy()))
    hull = lower_hull(points.tolist())
    mean_x = sum(points[:, 0].tolist()) / len(points)
    for (x1, y1), (x2, y2) in itertools.pairwise(hull):
        if x1 <= mean_x <= x2 and x2 > x1:
            return (y2 - y1) / (x2 - x1)
    return 0.0


def _above(points: Floats, slope: float) -> Floats:
    """How far they lie above a line of this slope through the origin."""
    return np.asarray(points[:, 1] - slope * points[:, 0])
