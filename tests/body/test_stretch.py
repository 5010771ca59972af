"""Rates of a window without the bias that its orientations do not have."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.stretch import Stretch

RATE_HZ = 200.0


def test_a_bias_is_taken_off_and_lost_samples_do_not_count():
    t_s = np.arange(1000) / RATE_HZ
    path = Rotation.from_rotvec(np.column_stack((np.sin(2 * t_s), 0 * t_s, 0 * t_s)))
    rate = np.column_stack((2 * np.cos(2 * t_s), 0 * t_s, 0 * t_s))
    keep = (t_s < 2.0) | (t_s > 2.3)
    bias = np.deg2rad([2.4, -1.0, 0.5])
    given = Stretch(path.as_quat(scalar_first=True)[keep], (rate + bias)[keep], np.zeros((keep.sum(), 3)), RATE_HZ)
    np.testing.assert_allclose(given.unbiased().gyr_rad_s, rate[keep], atol=np.deg2rad(0.05))


def test_nothing_is_known_of_one_sample():
    one = Stretch(np.array([[1.0, 0.0, 0.0, 0.0]]), np.ones((1, 3)), np.zeros((1, 3)), RATE_HZ)
    assert one.unbiased() is one
