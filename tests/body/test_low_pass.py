"""Our own low pass and quaternions against scipy's."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from scipy.signal import butter, filtfilt
from scipy.spatial.transform import Rotation

from imufeedback import quaternions
from imufeedback.body.low_pass import EDGE, zero_phase


@pytest.mark.parametrize(("cutoff_hz", "rate_hz"), [(5.0, 200.0), (3.0, 100.0), (20.0, 104.0)])
@pytest.mark.parametrize("samples", [EDGE + 1, 50, 900])
def test_the_low_pass_is_scipys(cutoff_hz: float, rate_hz: float, samples: int) -> None:
    values = np.random.default_rng(samples).normal(1.0, 3.0, (samples, 3)).cumsum(axis=0)
    expected = filtfilt(*butter(2, cutoff_hz / (rate_hz / 2)), values, axis=0)
    np.testing.assert_allclose(zero_phase(values, cutoff_hz, rate_hz), expected, atol=1e-10 * np.abs(values).max())


def test_too_few_samples_are_refused() -> None:
    with pytest.raises(ValueError, match="too few"):
        zero_phase(np.zeros((EDGE, 3)), 5.0, 200.0)


def turns() -> Rotation:
    """Some of any size, and those that are hard: none, and half a turn about each axis."""
    half = np.pi * np.vstack([np.eye(3), -np.eye(3), [[1e-9, 0, 0]], np.zeros((1, 3))])
    return Rotation.concatenate([Rotation.random(200, rng=np.random.default_rng(1)), Rotation.from_rotvec(half)])


def test_quaternions_are_scipys() -> None:
    ones = turns()
    others = ones[::-1]
    q, p = (one.as_quat(scalar_first=True) for one in (ones, others))
    by_matrix = quaternions.from_matrix(ones.as_matrix())
    assert (by_matrix[:, 0] >= 0).all()
    np.testing.assert_allclose(
        Rotation.from_quat(by_matrix, scalar_first=True).as_matrix(), ones.as_matrix(), atol=1e-12
    )
    known = Rotation.from_quat(quaternions.by_vector(ones.as_rotvec()), scalar_first=True)
    np.testing.assert_allclose(known.as_matrix(), ones.as_matrix(), atol=1e-12)
    product = Rotation.from_quat(quaternions.product(quaternions.inverse(q), p), scalar_first=True)
    np.testing.assert_allclose(product.as_matrix(), (ones.inv() * others).as_matrix(), atol=1e-12)
    np.testing.assert_allclose(quaternions.angle_of(q), ones.magnitude(), atol=1e-12)
    about = Rotation.from_quat(quaternions.about(1, np.array([0.3, -2.0])), scalar_first=True)
    np.testing.assert_allclose(about.as_rotvec(), [[0, 0.3, 0], [0, -2.0, 0]], atol=1e-12)


def test_a_worker_starts_without_scipy() -> None:
    """It takes more time to load than all the rest of a worker's start."""
    text = "import sys, imufeedback.review.many.one; sys.exit(any(one.split('.')[0] == 'scipy' for one in sys.modules))"
    assert subprocess.run([sys.executable, "-c", text], check=False).returncode == 0


def test_a_product_of_one_with_many() -> None:
    q = turns().as_quat(scalar_first=True)
    np.testing.assert_allclose(quaternions.product(q[0], q)[5], quaternions.product(q[:1], q[5:6])[0], atol=0)
