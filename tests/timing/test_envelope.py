"""The lower envelope against known lines.

Method: line below all points, closest to them on the mean (Moon, Skelly & Towsley 1999; Zhang, Liu & Xia 2002), here
checked against a brute-force search over all pairs of points.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.records import Floats
from imufeedback.timing.envelope import (
    SKEW_LIMIT,
    fit_loose_line,
    likely_skew,
    line_below,
    lower_hull,
    middle_slope,
)


def delayed(slope: float, offset: float, seed: int, n: int = 90) -> Floats:
    """The least delay of each second over a known line: exponential, never below it."""
    rng = np.random.default_rng(seed)
    x = np.arange(n) + rng.uniform(0, 1, n)
    return np.column_stack((x, offset + slope * x + rng.exponential(0.0005, n)))


def fit(points: Floats) -> tuple[float, float]:
    slope = likely_skew(points)
    return line_below(points, slope), slope


@pytest.mark.parametrize("skew_ppm", [-150, -40, 0, 40, 150])
@pytest.mark.parametrize("seed", range(4))
def test_a_known_line_under_random_delays(skew_ppm, seed):
    offset, slope = fit(delayed(skew_ppm * 1e-6, 12.0, seed))
    assert slope * 1e6 == pytest.approx(skew_ppm, abs=6)
    at = np.array([0.0, 45.0, 90.0])
    np.testing.assert_allclose(offset + slope * at, 12.0 + skew_ppm * 1e-6 * at, atol=5e-4)


def test_one_late_stretch_does_not_lift_the_line():
    """Thirty seconds of congestion, half a second late: not a single point of it touches the envelope."""
    points = np.array([(x, y + (0.5 if 30 < x < 60 else 0.0)) for x, y in delayed(20e-6, 1.0, 7)])
    offset, slope = fit(points)
    np.testing.assert_allclose(offset + slope * 45.0, 1.0 + 20e-6 * 45, atol=5e-4)


def test_delays_that_scatter_over_a_short_time_say_little():
    """Three seconds of 5 ms of scatter: a slope of theirs would be off by a thousand ppm."""
    rng = np.random.default_rng(1)
    points = np.column_stack((np.arange(4.0), rng.uniform(0, 0.005, 4)))
    assert abs(middle_slope(points)) > 100e-6
    assert abs(likely_skew(points)) < 2e-6


@pytest.mark.parametrize("skew_ppm", [-900, 900])
def test_the_slope_is_bounded(skew_ppm):
    slope = likely_skew(delayed(skew_ppm * 1e-6, 0.0, 3))
    assert 0 < abs(slope) <= SKEW_LIMIT
    assert slope * skew_ppm > 0


def test_one_point():
    assert fit(np.array([(4.0, 0.25)])) == (0.25, 0.0)


def test_no_point_is_misuse():
    with pytest.raises(ValueError, match="at least one point"):
        line_below(np.empty((0, 2)), 0.0)


# ── counters with a rate of their own ────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("skew_ppm", [-30_000, -700, 700, 30_000])
def test_a_rate_of_its_own_is_believed_when_it_explains_everything(skew_ppm):
    found = fit_loose_line(delayed(skew_ppm * 1e-6, 2.0, 5, n=40), sure=False)
    assert found is not None
    assert found[1] * 1e6 == pytest.approx(skew_ppm, abs=30)


def test_a_crystal_has_no_rate_of_its_own():
    assert fit_loose_line(delayed(40e-6, 2.0, 5), sure=False) is None


@pytest.mark.parametrize("step_s", [-0.05, 0.05])
def test_a_radio_that_becomes_faster_or_slower_is_no_rate(step_s):
    points = np.array([(x, y + (step_s if x > 45 else 0.0)) for x, y in delayed(0.0, 2.0, 5)])
    assert fit_loose_line(points, sure=False) is None


def test_a_counter_of_samples_is_known_to_have_its_own():
    points = delayed(9_000e-6, 2.0, 5, n=4)
    assert fit_loose_line(points, sure=False) is None
    found = fit_loose_line(points, sure=True)
    assert found is not None
    assert found[1] == pytest.approx(9_000e-6, abs=1e-3)
    assert fit_loose_line(points[:2], sure=True) is None
    assert fit_loose_line(delayed(0.5, 2.0, 5), sure=True) is None


POINTS = st.lists(
    st.tuples(st.integers(0, 100_000), st.integers(0, 10_000)), min_size=1, max_size=40, unique_by=lambda p: p[0]
)


@given(POINTS)
def test_no_point_lies_below_the_line(raw):
    points = np.array(sorted((x / 1000, y * 1e-7) for x, y in raw))
    offset, slope = fit(points)
    gaps = [y - (offset + slope * x) for x, y in points]
    assert min(gaps) == pytest.approx(0.0, abs=1e-9)


@given(POINTS)
def test_the_line_is_the_closest_of_all_below(raw):
    """Brute force: of all lines through two points that lie below every point, none is closer on the mean."""
    points = np.array(sorted((x / 1000, y * 1e-7) for x, y in raw))
    slope = min(max(middle_slope(points), -SKEW_LIMIT), SKEW_LIMIT)
    offset = line_below(points, slope)
    x, y = points.T
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
