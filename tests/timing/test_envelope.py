"""The lower envelope against known lines.

Method: line below all points, closest to them on the mean (Moon, Skelly & Towsley 1999; Zhang, Liu & Xia 2002), here
checked against a brute-force search over all pairs of points.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.timing.envelope import SKEW_LIMIT, fit_line_below, lower_hull


def delayed(slope: float, offset: float, seed: int, n: int = 90) -> list[tuple[float, float]]:
    """The least delay of each second over a known line: exponential, never below it."""
    rng = np.random.default_rng(seed)
    x = np.arange(n) + rng.uniform(0, 1, n)
    return list(zip(x.tolist(), (offset + slope * x + rng.exponential(0.0005, n)).tolist(), strict=True))


@pytest.mark.parametrize("skew_ppm", [-150, -40, 0, 40, 150])
@pytest.mark.parametrize("seed", range(4))
def test_a_known_line_under_random_delays(skew_ppm, seed):
    offset, slope = fit_line_below(delayed(skew_ppm * 1e-6, 12.0, seed), min_span=20.0)
    assert slope * 1e6 == pytest.approx(skew_ppm, abs=6)
    at = np.array([0.0, 45.0, 90.0])
    np.testing.assert_allclose(offset + slope * at, 12.0 + skew_ppm * 1e-6 * at, atol=5e-4)


def test_one_late_stretch_does_not_lift_the_line():
    """Thirty seconds of congestion, half a second late: not a single point of it touches the envelope."""
    points = [(x, y + (0.5 if 30 < x < 60 else 0.0)) for x, y in delayed(20e-6, 1.0, 7)]
    offset, slope = fit_line_below(points, min_span=20.0)
    np.testing.assert_allclose(offset + slope * 45.0, 1.0 + 20e-6 * 45, atol=5e-4)


def test_a_short_stretch_has_no_slope():
    points = delayed(150e-6, 3.0, 1, n=15)
    assert fit_line_below(points, min_span=20.0) == (min(y for _, y in points), 0.0)


@pytest.mark.parametrize("skew_ppm", [-900, 900])
def test_the_slope_is_bounded(skew_ppm):
    _, slope = fit_line_below(delayed(skew_ppm * 1e-6, 0.0, 3), min_span=20.0)
    assert slope == pytest.approx(np.copysign(SKEW_LIMIT, skew_ppm))


def test_one_point():
    assert fit_line_below([(4.0, 0.25)], min_span=20.0) == (0.25, 0.0)


def test_no_point_is_misuse():
    with pytest.raises(ValueError, match="at least one point"):
        fit_line_below([], min_span=20.0)


POINTS = st.lists(
    st.tuples(st.integers(0, 100_000), st.integers(0, 10_000)), min_size=1, max_size=40, unique_by=lambda p: p[0]
)


@given(POINTS)
def test_no_point_lies_below_the_line(raw):
    points = sorted((x / 1000, y * 1e-7) for x, y in raw)
    offset, slope = fit_line_below(points, min_span=20.0)
    gaps = [y - (offset + slope * x) for x, y in points]
    assert min(gaps) == pytest.approx(0.0, abs=1e-9)


@given(POINTS)
def test_the_line_is_the_closest_of_all_below(raw):
    """Brute force: of all lines through two points that lie below every point, none is closer on the mean."""
    points = sorted((x / 1000, y * 1e-7) for x, y in raw)
    offset, slope = fit_line_below(points, min_span=0.0)
    x, y = np.array(points).T
    found = float(np.mean(y - offset - slope * x))
    for i in range(len(x)):
        for j in range(i + 1, len(x)):
            other = (y[j] - y[i]) / (x[j] - x[i])
            gap = y - y[i] - other * (x - x[i])
            if abs(other) < SKEW_LIMIT and gap.min() >= -1e-12:
                assert found <= float(np.mean(gap)) + 1e-9


def test_hull_of_a_bowl():
    points = [(0.0, 4.0), (1.0, 1.5), (2.0, 0.0), (3.0, 1.2), (4.0, 4.0), (2.5, 3.0)]
    assert lower_hull(sorted(points)) == [(0.0, 4.0), (1.0, 1.5), (2.0, 0.0), (3.0, 1.2), (4.0, 4.0)]
    assert lower_hull([(0.0, 0.0), (1.0, 1.0), (2.0, 0.0)]) == [(0.0, 0.0), (2.0, 0.0)]
