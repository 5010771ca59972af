"""Zero-g offsets from movements that turn a sensor against gravity."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.body.offsets import MAX_SPAN_S, PRIOR_SD_M_S2, zero_g_offset
from imufeedback.body.stretch import Stretch

HZ = 100.0
G = 9.81
OFFSET = np.array([0.20, -0.15, 0.10])


def lifted(span_s: float = 12.0, arm: tuple[float, float, float] = (0.0, 0.0, 0.0)) -> Stretch:
    """A sensor turned by 70 degrees about its z and back, twice, slowly; `arm` leads to the point that stands still."""
    t = np.arange(round(span_s * HZ)) / HZ
    angle = np.deg2rad(35.0) * (1 - np.cos(2 * np.pi * np.clip(t - 2.0, 0.0, 8.0) / 4.0))
    rate = np.zeros((len(t), 3))
    rate[:, 2] = np.gradient(angle, 1 / HZ)
    upright = Rotation.from_matrix(np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]))
    R = upright * Rotation.from_rotvec(np.outer(angle, (0.0, 0.0, 1.0)))
    spin = np.gradient(rate, 1 / HZ, axis=0)
    round_the_hip = np.cross(spin, arm) + np.cross(rate, np.cross(rate, arm))
    acc = R.inv().apply([0.0, 0.0, G]) - round_the_hip + OFFSET
    return Stretch(R.as_quat(scalar_first=True), rate, acc, HZ)


def test_the_components_across_the_axis_are_found() -> None:
    found, covariance = zero_g_offset(lifted(), 12.0, np.zeros(3))
    np.testing.assert_allclose(found[:2], OFFSET[:2], atol=0.03)
    assert (np.sqrt(np.diag(covariance)[:2]) < 0.1).all()


def test_the_component_along_the_axis_is_not_guessed() -> None:
    """And the covariance says so: as unsure as a part's data sheet leaves it."""
    found, covariance = zero_g_offset(lifted(), 12.0, np.zeros(3))
    assert abs(found[2]) < 0.02
    assert np.sqrt(covariance[2, 2]) == pytest.approx(PRIOR_SD_M_S2, rel=0.01)


def test_going_round_the_hip_is_no_offset() -> None:
    arm = (0.0, 0.2, -0.07)
    found, _ = zero_g_offset(lifted(arm=arm), 12.0, np.array(arm))
    np.testing.assert_allclose(found[:2], OFFSET[:2], atol=0.03)


@pytest.mark.parametrize("span_s", [12.0 / 0.97, MAX_SPAN_S + 1.0])
def test_gaps_and_long_stretches_show_nothing(span_s: float) -> None:
    found, covariance = zero_g_offset(lifted(), span_s, np.zeros(3))
    np.testing.assert_array_equal(found, 0.0)
    np.testing.assert_array_equal(covariance, PRIOR_SD_M_S2**2 * np.eye(3))
