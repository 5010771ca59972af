"""Orientation from rates alone: against scipy, over a long run, in any pieces, and several sensors at once."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.strapdown import Strapdown

STEP_S = 0.005


def turned(rates: np.ndarray, before: np.ndarray, step_s: float = STEP_S) -> np.ndarray:
    """One sensor."""
    return Strapdown(step_s).turned(rates[None], np.asarray(before, dtype=float)[None])[0]


def by_scipy(rates: np.ndarray, before: np.ndarray) -> Rotation:
    """Every step turns by the mean of its two ends."""
    means = 0.5 * (rates + np.vstack((before, rates[:-1])))
    out, turns = Rotation.identity(), []
    for mean in means:
        out = out * Rotation.from_rotvec(mean * STEP_S)
        turns.append(out)
    return Rotation.concatenate(turns)


@pytest.mark.parametrize("fastest_rad_s", [0.0, 0.01, 1.0, 3.9, 35.0], ids="{} rad/s".format)
def test_is_the_product_of_the_steps(fastest_rad_s):
    """35 rad/s is the end of a gyroscope's range."""
    rates = np.random.default_rng(5).uniform(-1, 1, (400, 3)) * fastest_rad_s
    before = np.array([0.3, -0.2, 0.1]) * fastest_rad_s
    found = Rotation.from_matrix(turned(rates, before))
    assert (found.inv() * by_scipy(rates, before)).magnitude().max() < 1e-11


def test_sensors_do_not_mix():
    """They go through one run one after the other; each is as if alone."""
    rates = np.random.default_rng(8).normal(0, 5, (3, 50, 3))
    before = rates[:, 0] + 0.1
    together = Strapdown(STEP_S).turned(rates, before)
    assert together.shape == (3, 50, 3, 3)
    for one, alone, first in zip(together, rates, before, strict=True):
        np.testing.assert_allclose(one, turned(alone, first), atol=1e-12)


def test_no_memory():
    rates = np.random.default_rng(9).normal(0, 5, (2, 20, 3))
    strapdown = Strapdown(STEP_S)
    first = strapdown.turned(rates, rates[:, 0])
    strapdown.turned(-rates[:, :7], rates[:, 3])
    np.testing.assert_array_equal(strapdown.turned(rates, rates[:, 0]), first)


def test_rates_are_those_of_the_sensor_and_not_of_the_earth():
    """A quarter turn about x, then one about the sensor's own y."""
    rates = np.zeros((200, 3))
    rates[:100, 0] = rates[100:, 1] = np.pi / 2 / (100 * STEP_S)
    found = turned(rates[:100], rates[0])[-1] @ turned(rates[100:], rates[-1])[-1]
    np.testing.assert_allclose(found @ [0, 1, 0], [0, 0, 1], atol=1e-12)
    np.testing.assert_allclose(found @ [0, 0, 1], [1, 0, 0], atol=1e-12)


def test_the_steps_meet_a_smooth_motion():
    """What the trapezoid leaves of a full swing's 600 °/s within a quarter of a second, back and forth: little."""
    t_s = np.arange(0, 2.0, STEP_S)
    rates = np.zeros((len(t_s), 3))
    rates[:, 2] = np.deg2rad(600) * np.sin(4 * np.pi * t_s)
    found = Rotation.from_matrix(turned(rates, [0, 0, 0])).as_rotvec()[:, 2]
    true = np.deg2rad(600) * (1 - np.cos(4 * np.pi * t_s)) / (4 * np.pi)
    assert np.rad2deg(np.abs(found - true).max()) < 0.05


def test_pieces_are_the_whole():
    rates = np.random.default_rng(6).normal(0, 3, (200, 3))
    whole = turned(rates, rates[0])
    R, before, pieces = np.eye(3), rates[0], []
    for begin, end in ((0, 1), (1, 5), (5, 120), (120, 200)):
        pieces.append(R @ turned(rates[begin:end], before))
        R, before = pieces[-1][-1], rates[end - 1]
    np.testing.assert_allclose(np.concatenate(pieces), whole, atol=1e-12)


def test_it_stays_a_rotation_over_an_hour():
    """200 Hz in packets of four, always turning: rounding does not pile up. An hour in steps of 0.1 s, to be quick."""
    rates = np.random.default_rng(7).normal(0, 5, (36_000, 3))
    strapdown, R, before = Strapdown(0.1), np.eye(3), rates[:1]
    for k in range(0, len(rates), 4):
        R = R @ strapdown.turned(rates[None, k : k + 4], before)[0, -1]
        before = rates[k + 3 : k + 4]
    np.testing.assert_allclose(R @ R.T, np.eye(3), atol=1e-10)
