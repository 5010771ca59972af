"""Rates of a window without the bias that its orientations do not have."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.stretch import WindowSamples, paired

RATE_HZ = 200.0


def test_a_bias_is_taken_off_and_lost_samples_do_not_count():
    t_s = np.arange(1000) / RATE_HZ
    path = Rotation.from_rotvec(np.column_stack((np.sin(2 * t_s), 0 * t_s, 0 * t_s)))
    rate = np.column_stack((2 * np.cos(2 * t_s), 0 * t_s, 0 * t_s))
    keep = (t_s < 2.0) | (t_s > 2.3)
    bias = np.deg2rad([2.4, -1.0, 0.5])
    given = WindowSamples(
        path.as_quat(scalar_first=True)[keep], (rate + bias)[keep], np.zeros((keep.sum(), 3)), RATE_HZ
    )
    np.testing.assert_allclose(given.unbiased().gyr_rad_s, rate[keep], atol=np.deg2rad(0.05))


def test_nothing_is_known_of_one_sample():
    one = WindowSamples(np.array([[1.0, 0.0, 0.0, 0.0]]), np.ones((1, 3)), np.zeros((1, 3)), RATE_HZ)
    assert one.unbiased() is one


def timed(keep: np.ndarray) -> WindowSamples:
    """Of one second those samples that are kept; each is its own number."""
    number = np.flatnonzero(keep).astype(float)
    return WindowSamples(
        np.ones((len(number), 4)), number[:, None] * np.ones(3), np.ones((len(number), 3)), RATE_HZ, number / RATE_HZ
    )


def test_gaps_cut_a_stretch_into_pieces():
    keep = np.ones(200, dtype=bool)
    keep[50:60] = keep[120] = False
    given = timed(keep)
    assert [(one.start, one.stop) for one in given.pieces] == [(0, 50), (50, 110), (110, 189)]
    assert given.rows(given.pieces[1]).gyr_rad_s[0, 0] == 60.0
    assert WindowSamples(given.q_es, given.gyr_rad_s, given.acc_m_s2, RATE_HZ).pieces == [slice(0, 189)], (
        "no times: no gaps"
    )
    assert timed(np.zeros(200, dtype=bool)).pieces == []


def test_two_stretches_are_paired_by_time_and_not_by_number():
    one, other = np.ones(200, dtype=bool), np.ones(200, dtype=bool)
    one[:10], one[50:60], other[100:130] = False, False, False
    a, b = paired(timed(one), timed(other))
    np.testing.assert_array_equal(a.gyr_rad_s, b.gyr_rad_s)
    assert len(a.t_s) == 150
    assert len(a.pieces) == 3
