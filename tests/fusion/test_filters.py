"""What every filter promises; runs over each that exists.

Sources of the filters stand in their modules. The truth here is the motion itself, made with scipy's rotations.
"""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from imus import HZ, G, samples_of, still_at, tilt_error_deg, tumbling
from scipy.spatial.transform import Rotation

from imufeedback.errors import UsageError
from imufeedback.fusion import available, make

START = Rotation.from_euler("ZYX", [40, -25, 70], degrees=True)
"""Tilted and turned: from an identity orientation a wrong direction could pass."""


@pytest.fixture(params=available())
def name(request) -> str:
    return request.param


def motion(seconds: float) -> tuple[np.ndarray, Rotation, np.ndarray, np.ndarray]:
    """Times, truth, and samples: rates as means over the step before, which is what a filter integrates."""
    t_s = np.arange(int(seconds * HZ)) / HZ
    turned = tumbling(START)
    _, acc = samples_of(turned, t_s)
    gyr = (turned(t_s - 1 / HZ).inv() * turned(t_s)).as_rotvec() * HZ
    return t_s, turned(t_s), gyr, acc


def run(name: str, gyr, acc, period_s: float = 1 / HZ):
    q, bias, _ = make(name, period_s).run(gyr, acc)
    return Rotation.from_quat(q, scalar_first=True), q, bias


def test_there_are_these_filters():
    assert set(available()) >= {"madgwick", "mahony", "vqf"}


def test_an_unknown_filter_is_misuse_and_lists_the_known_ones():
    with pytest.raises(UsageError) as caught:
        make("kalman", 0.005)
    assert "'kalman'" in str(caught.value)
    for one in available():
        assert one in str(caught.value)


def test_output_is_finite_and_of_unit_length(name):
    _, _, gyr, acc = motion(4.0)
    _, q, bias = run(name, gyr, acc)
    assert q.shape == (800, 4)
    assert bias.shape == (800, 3)
    assert make(name, 1 / HZ).run(gyr, acc)[2].shape == (800,)
    assert np.isfinite(bias).all()
    np.testing.assert_allclose(np.linalg.norm(q, axis=1), 1.0, atol=1e-9)


def test_takes_sensor_to_earth(name):
    """Of a sensor that lies tilted and turned: its measured up, turned by q, is the earth's up, and a relative turn
    is the sensor's own. With the inverse convention neither would hold."""
    _, true, gyr, acc = motion(4.0)
    found, *_ = run(name, gyr, acc)
    up = found[150].apply(acc[150] / G)  # still at rest
    np.testing.assert_allclose(up, [0, 0, 1], atol=0.02)
    # the turn since then, seen in the sensor, needs no common heading
    since_found, since_true = found[150].inv() * found[500], true[150].inv() * true[500]
    assert np.rad2deg(since_true.magnitude()) > 40
    assert np.rad2deg((since_true.inv() * since_found).magnitude()) < 8
    assert np.rad2deg((since_true * since_found).magnitude()) > 60  # the inverse would be here


def test_tilt_follows_the_motion(name):
    _, true, gyr, acc = motion(6.0)
    found, *_ = run(name, gyr, acc)
    assert tilt_error_deg(found, true).max() < 4.0


@pytest.mark.parametrize(
    "way", [(0, 0, 1), (0, 0, -1), (1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0.5, -0.3, -0.8)]
)
def test_finds_down_at_once(name, way):
    """Upside down, on its side, exactly flat: no settling from an identity."""
    acc = np.tile(np.array(way) / np.linalg.norm(way) * G, (100, 1))
    found, q, _ = run(name, np.zeros((100, 3)), acc)
    assert np.isfinite(q).all()
    lean = np.rad2deg(np.arccos(np.clip(found.apply(acc / G)[:, 2], -1, 1)))
    assert lean.max() < 1.0


def test_one_batch_is_the_same_as_sample_by_sample(name):
    _, _, gyr, acc = motion(1.5)
    _, whole, bias = run(name, gyr, acc)
    one_by_one = make(name, 1 / HZ)
    parts = [one_by_one.run(gyr[k : k + 1], acc[k : k + 1]) for k in range(len(gyr))]
    np.testing.assert_array_equal(np.concatenate([q for q, *_ in parts]), whole)
    np.testing.assert_array_equal(np.concatenate([b for _, b, _ in parts]), bias)


@pytest.mark.parametrize("half", [0, 1, 250])
def test_first_half_and_restored_state_and_second_half_are_the_whole(name, half):
    _, _, gyr, acc = motion(2.5)
    _, whole, bias = run(name, gyr, acc)
    first = make(name, 1 / HZ)
    if half:
        first.run(gyr[:half], acc[:half])
    kept = pickle.loads(pickle.dumps(first.state))
    first.run(gyr[::-1], acc[::-1])  # a kept state does not change with the filter that it came from
    second = make(name, 1 / HZ)
    second.state = kept
    q, later_bias, _ = second.run(gyr[half:], acc[half:])
    np.testing.assert_array_equal(q, whole[half:])
    np.testing.assert_array_equal(later_bias, bias[half:])


def test_a_bias_is_called_observed_at_rest_and_never_in_motion():
    """VQF tells its rests, after the 1.5 s that it wants; Madgwick's has no bias; Mahony's integral always counts."""
    n = int(3 * HZ)
    gyr, acc = samples_of(still_at(START), np.arange(n) / HZ)
    _, _, moving, pulled = motion(4.0)
    whole = np.vstack((gyr, moving[int(HZ) :])), np.vstack((acc, pulled[int(HZ) :]))
    seen = {one: make(one, 1 / HZ).run(*whole)[2] for one in ("madgwick", "mahony", "vqf")}
    assert seen["vqf"].dtype == bool
    assert seen["vqf"][int(2 * HZ) : n].all()
    assert not seen["vqf"][: int(HZ)].any()
    assert not seen["vqf"][n + int(HZ) :].any()
    assert not seen["madgwick"].any()
    assert seen["mahony"].all()


def test_still_stays_still(name):
    t_s = np.arange(400) / HZ
    gyr, acc = samples_of(still_at(START), t_s)
    found, *_ = run(name, gyr, acc)
    assert np.rad2deg((found[0].inv() * found).magnitude()).max() < 0.5
