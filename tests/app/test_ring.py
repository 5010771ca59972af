"""Fixed-size memory of samples: bounded, ordered, and honest about gaps."""

from __future__ import annotations

import numpy as np
from bay_events import grid
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.app.ring import Ring, thinned


def column(values: np.ndarray) -> np.ndarray:
    return np.asarray(values, dtype=np.float64)[:, None]


@given(st.lists(st.integers(1, 40), min_size=1, max_size=12))
def test_keeps_the_newest_rows_in_order_whatever_the_chunks(sizes: list[int]) -> None:
    ring, t_s = Ring(50, 1), grid(0.0, sum(sizes) / 200.0)
    for first, last in zip(np.cumsum([0, *sizes[:-1]]), np.cumsum(sizes), strict=True):
        ring.append(t_s[first:last], column(t_s[first:last] * 3))
    got_t, rows = ring.since(-1.0)
    np.testing.assert_array_equal(got_t, t_s[-50:])
    np.testing.assert_array_equal(rows[:, 0], t_s[-50:] * 3)


def test_a_gap_gets_a_row_of_nothing_inside() -> None:
    ring = Ring(100, 1)
    ring.append(np.array([0.0, 0.005]), column([1.0, 2.0]))
    ring.append(np.array([2.0, 2.005]), column([3.0, 4.0]))
    t_s, rows = ring.since(-1.0)
    np.testing.assert_array_equal(np.isnan(rows[:, 0]), [False, False, True, False, False])
    assert 0.005 < t_s[2] < 2.0


def test_what_is_not_finite_becomes_nothing() -> None:
    ring = Ring(10, 1)
    ring.append(grid(0.0, 0.02), column([1.0, np.inf, -np.inf, np.nan]))
    np.testing.assert_array_equal(ring.since(-1.0)[1][:, 0], [1.0, np.nan, np.nan, np.nan])


def test_time_going_back_begins_anew() -> None:
    ring = Ring(10, 1)
    ring.append(np.array([5.0]), column([1.0]))
    ring.append(np.array([0.0]), column([2.0]))
    assert ring.since(-1.0)[1].tolist() == [[2.0]]
    assert ring.newest_s == 0.0


def test_since_leaves_out_what_is_older() -> None:
    ring = Ring(100, 1)
    ring.append(grid(0.0, 0.1), column(np.arange(20)))
    assert ring.since(0.0499)[0][0] == 0.05


def test_empty_ring_and_empty_block() -> None:
    ring = Ring(10, 2)
    ring.append(np.empty(0), np.empty((0, 2)))
    assert ring.newest_s is None
    assert ring.since(0.0)[0].shape == (0,)
    assert ring.since(0.0)[1].shape == (0, 2)


def test_memory_does_not_grow_in_two_hours() -> None:
    ring, block = Ring(400, 6), np.zeros((400, 6))
    for second in range(0, 7200, 2):
        ring.append(second + np.arange(400) / 200.0, block)
    assert ring._rows.shape == (400, 6)
    assert len(ring.since(0.0)[0]) == 400


def test_thinning_keeps_gaps_and_does_not_depend_on_where_it_starts() -> None:
    t_s = grid(0.0, 1.0)
    rows = np.ones((len(t_s), 1))
    rows[77] = np.nan
    thin_t, thin_rows = thinned(t_s, rows, 0.02)
    assert len(thin_t) <= 104
    assert np.isnan(thin_rows).sum() == 1
    later_t, _ = thinned(t_s[50:], rows[50:], 0.02)
    assert set(later_t[1:]) <= set(thin_t)


@given(st.integers(0, 999), st.integers(0, 2), st.floats(1.0, 90.0), st.sampled_from([-1.0, 1.0]))
def test_a_spike_of_one_sample_stays_wherever_it_is(at: int, where: int, height: float, sign: float) -> None:
    t_s = grid(0.0, 5.0)
    rows = np.column_stack([np.sin(t_s), np.zeros_like(t_s), t_s])
    rows[at, where] += sign * height
    thin_t, thin_rows = thinned(t_s, rows, 0.057)
    assert len(thin_t) < 2 * 5.0 / 0.057 + 2
    assert rows[at, where] in thin_rows[:, where]
    assert (np.diff(thin_t) > 0).all()
    for column in range(3):
        assert (thin_rows[:, column].min(), thin_rows[:, column].max()) == (
            rows[:, column].min(),
            rows[:, column].max(),
        )


def test_a_curve_that_rises_or_falls_goes_through_its_own_samples() -> None:
    t_s = grid(0.0, 2.0)
    rows = np.column_stack([t_s**2, -(t_s**3)])
    thin_t, thin_rows = thinned(t_s, rows, 0.05)
    np.testing.assert_array_equal(thin_rows, np.column_stack([thin_t**2, -(thin_t**3)]))


def test_nothing_thins_to_nothing() -> None:
    assert thinned(np.empty(0), np.empty((0, 2)), 0.1)[1].shape == (0, 2)
