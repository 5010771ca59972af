"""Quaternions to matrices and back, against scipy."""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.matrices import about_vertical, from_q, to_q


def test_scalar_comes_first():
    """+30° about x is (0.966, 0.259, 0, 0); read the other way round it would be a half-turn."""
    R = from_q(np.array([np.cos(np.pi / 12), np.sin(np.pi / 12), 0.0, 0.0]))
    np.testing.assert_allclose(R, Rotation.from_euler("x", 30, degrees=True).as_matrix(), atol=1e-12)


def test_there_and_back_on_a_stack():
    q = Rotation.random(24, rng=np.random.default_rng(1)).as_quat(scalar_first=True, canonical=True).reshape(4, 6, 4)
    R = from_q(q)
    assert R.shape == (4, 6, 3, 3)
    np.testing.assert_allclose(to_q(R.reshape(-1, 3, 3)), q.reshape(-1, 4), atol=1e-12)


def test_both_signs_are_one_rotation():
    q = Rotation.random(5, rng=np.random.default_rng(2)).as_quat(scalar_first=True)
    np.testing.assert_allclose(from_q(-q), from_q(q), atol=1e-12)


def test_a_row_that_is_no_number_costs_itself_only():
    q = np.tile([1.0, 0.0, 0.0, 0.0], (3, 1))
    q[1, 2] = np.nan
    R = from_q(q)
    assert np.isnan(R[1]).all()
    np.testing.assert_array_equal(R[[0, 2]], np.tile(np.eye(3), (2, 1, 1)))


def test_about_vertical_turns_ahead_to_the_left():
    np.testing.assert_allclose(about_vertical(np.deg2rad(90.0)) @ [1, 0, 0], [0, 1, 0], atol=1e-12)
    for angle in np.linspace(-4, 4, 9):
        np.testing.assert_allclose(about_vertical(angle), Rotation.from_euler("z", angle).as_matrix(), atol=1e-12)
