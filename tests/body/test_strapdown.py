"""Orientation from rates alone: against scipy, over a long run, and in any pieces."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.strapdown import UNIT, advanced

STEP_S = 0.005


def by_scipy(rates: np.ndarray, before: np.ndarray) -> Rotation:
    """Every step turns by the mean of its two ends."""
    means = 0.5 * (rates + np.vstack((before, rates[:-1])))
    out, turned = Rotation.identity(), []
    for mean in means:
        out = out * Rotation.from_rotvec(mean * STEP_S)
        turned.append(out)
    return Rotation.concatenate(turned)


@pytest.mark.parametrize("fastest_rad_s", [0.01, 1.0, 3.9, 4.1, 35.0], ids="{} rad/s".format)
def test_is_the_product_of_the_steps(fastest_rad_s):
    """Slow steps go by a series, fast ones by sine and cosine; 35 rad/s is the end of a gyroscope's range."""
    rates = np.random.default_rng(5).uniform(-1, 1, (400, 3)) * fastest_rad_s
    before = np.array([0.3, -0.2, 0.1]) * fastest_rad_s
    found = Rotation.from_quat(advanced(UNIT, rates.tolist(), before.tolist(), STEP_S), scalar_first=True)
    assert (found.inv() * by_scipy(rates, before)).magnitude().max() < 1e-11


def test_rates_are_those_of_the_sensor_and_not_of_the_earth():
    """A quarter turn about x, then one about the sensor's own y."""
    x, y = np.zeros((100, 3)), np.zeros((100, 3))
    x[:, 0] = y[:, 1] = np.pi / 2 / (100 * STEP_S)
    half = advanced(UNIT, x.tolist(), x[0].tolist(), STEP_S)[-1]
    found = Rotation.from_quat(advanced(half, y.tolist(), y[0].tolist(), STEP_S)[-1], scalar_first=True)
    np.testing.assert_allclose(found.apply([0, 1, 0]), [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(found.apply([0, 0, 1]), [1, 0, 0], atol=1e-12)


def test_the_steps_meet_a_smooth_motion():
    """What the trapezoid leaves of a full swing's 600 °/s within a quarter of a second, back and forth: little."""
    t_s = np.arange(0, 2.0, STEP_S)
    rates = np.zeros((len(t_s), 3))
    rates[:, 2] = np.deg2rad(600) * np.sin(4 * np.pi * t_s)
    found = Rotation.from_quat(advanced(UNIT, rates.tolist(), [0, 0, 0], STEP_S), scalar_first=True).as_rotvec()[:, 2]
    true = np.deg2rad(600) * (1 - np.cos(4 * np.pi * t_s)) / (4 * np.pi)
    assert np.rad2deg(np.abs(found - true).max()) < 0.05


def test_pieces_are_the_whole():
    rates = np.random.default_rng(6).normal(0, 3, (200, 3))
    whole = advanced(UNIT, rates.tolist(), rates[0].tolist(), STEP_S)
    q, before, pieces = UNIT, rates[0].tolist(), []
    for begin, end in ((0, 1), (1, 5), (5, 120), (120, 200)):
        pieces += advanced(q, rates[begin:end].tolist(), before, STEP_S)
        q, before = pieces[-1], rates[end - 1].tolist()
    np.testing.assert_allclose(pieces, whole, atol=1e-14)


def test_the_length_stays_one_over_an_hour():
    """200 Hz in packets of four, always turning: rounding does not pile up. An hour in steps of 0.1 s, to be quick."""
    rates = np.random.default_rng(7).normal(0, 5, (36_000, 3)).tolist()
    q, before = UNIT, rates[0]
    for k in range(0, len(rates), 4):
        q = advanced(q, rates[k : k + 4], before, 0.1)[-1]
        before = rates[k + 3]
    assert abs(np.linalg.norm(q) - 1.0) < 1e-12


def test_no_sample_no_step():
    assert advanced(UNIT, [], (0.0, 0.0, 0.0), STEP_S) == []
