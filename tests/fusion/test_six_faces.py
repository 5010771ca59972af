"""A sensor's own errors, found by hand: against an independent computation, and what is refused."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from imufeedback.ble.virtual.turned import POSES, REST_S, ROUTINE_S, TURN_S, handled
from imufeedback.fusion.corrected import Corrected, matrix
from imufeedback.fusion.six_faces import Contradiction, calibrated, missing, poses
from imufeedback.records import ImuBlock

G = 9.80665
RATE_HZ = 200.0
OFFSET = np.array([0.3, -0.2, 0.15])
ACC = np.array([[1.01, 0.004, -0.006], [0.002, 0.99, 0.005], [-0.003, 0.004, 1.006]])
GYR = np.array([[1.012, -0.005, 0.003], [0.004, 0.993, 0.006], [0.002, -0.007, 1.005]])
BIAS = np.array([0.01, -0.008, 0.004])


def measured(seed: int = 3, acc_of: np.ndarray = ACC) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times, rates and forces of a sensor with errors in a hand."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(int(ROUTINE_S * RATE_HZ)) / RATE_HZ
    gyr, acc = handled(t_s, seed, G)
    noise = rng.normal(0.0, 1.0, (2, len(t_s), 3))
    return t_s, gyr @ GYR.T + BIAS + 0.002 * noise[0], acc @ acc_of.T + OFFSET + 0.02 * noise[1]


def test_every_pose_is_seen_once_and_each_face_by_its_name() -> None:
    t_s, gyr, acc = measured()
    found = poses(t_s, gyr, acc)
    assert len(found) in (POSES, POSES + 1)  # the first face is held again at the end
    assert missing(found) == []
    for k, one in enumerate(found[:POSES]):
        assert one.begin / RATE_HZ == pytest.approx(k * (REST_S + TURN_S), abs=0.8)


def test_it_is_what_ferraris_procedure_gives() -> None:
    """Ferraris, Grimaldi & Parvis (1995) by hand: a sensor levelled exactly on its six faces, offset from the mean of
    opposite faces, each column of the matrix from their difference."""
    t_s, gyr, acc = measured()
    ours = calibrated(t_s, gyr, acc, G)
    rng = np.random.default_rng(9)
    up, down = (
        np.array([(sign * G * axis) @ ACC.T + OFFSET + rng.normal(0, 0.001, 3) for axis in np.eye(3)])
        for sign in (1, -1)
    )
    offset = (up + down).mean(axis=0) / 2
    sensitivity = ((up - down) / (2 * G)).T
    np.testing.assert_allclose(ours.acc_offset_m_s2, offset, atol=0.015)
    # Ferraris knows the cube's axes; we know the frame but for a turn as a whole, which leaves M S a rotation.
    turned = matrix(ours) @ sensitivity
    np.testing.assert_allclose(turned @ turned.T, np.eye(3), atol=0.004)


def test_gyroscope_and_bias() -> None:
    ours = calibrated(*measured(), G)
    left = np.array(ours.gyr_matrix) @ GYR
    np.testing.assert_allclose(left @ left.T, np.eye(3), atol=0.008)
    np.testing.assert_allclose(ours.gyr_bias_rad_s, BIAS, atol=np.radians(0.1))


def test_how_sure_it_is_covers_what_is_off() -> None:
    beyond = 0
    for seed in range(8):
        ours = calibrated(*measured(seed), G)
        beyond += int((np.abs(np.array(ours.acc_offset_m_s2) - OFFSET) > 3 * ours.acc_offset_sd_m_s2).any())
        assert ours.acc_offset_sd_m_s2 < 0.015
        assert ours.acc_scale_sd < 0.002
    assert beyond <= 1


def test_corrected_samples_are_the_true_ones_but_for_a_turn_of_the_frame() -> None:
    t_s, gyr, acc = measured()
    ours = calibrated(t_s, gyr, acc, G)
    block = ImuBlock("a", t_s, np.full(len(t_s), 1 / RATE_HZ), gyr, acc, np.zeros(len(t_s), np.uint8))
    out = Corrected(ours).feed(block)
    true_gyr, true_acc = handled(t_s, 3, G)
    assert np.abs(np.linalg.norm(out.acc_m_s2, axis=1) - np.linalg.norm(true_acc, axis=1)).mean() < 0.02
    off = np.linalg.norm(out.gyr_rad_s, axis=1) - np.linalg.norm(true_gyr, axis=1)
    assert np.abs(off).mean() < 0.004
    parts = [
        Corrected(ours).feed(
            dataclasses.replace(
                block, **{k: getattr(block, k)[a : a + 7] for k in ("t_s", "dt_s", "gyr_rad_s", "acc_m_s2", "flags")}
            )
        )
        for a in range(0, 70, 7)
    ]
    np.testing.assert_array_equal(np.vstack([one.acc_m_s2 for one in parts]), out.acc_m_s2[:70])
    np.testing.assert_array_equal(np.vstack([one.gyr_rad_s for one in parts]), out.gyr_rad_s[:70])


def test_without_a_calibration_nothing_is_touched() -> None:
    block = ImuBlock("a", np.zeros(1), np.zeros(1), np.ones((1, 3)), np.ones((1, 3)), np.zeros(1, np.uint8))
    assert Corrected(None).feed(block) is block


# ── what contradicts ─────────────────────────────────────────────────────────────────────────────────────────────


def test_a_face_that_was_left_out() -> None:
    t_s, gyr, acc = measured()
    half = len(t_s) // 3
    with pytest.raises(Contradiction, match="not seen at rest"):
        calibrated(t_s[:half], gyr[:half], acc[:half], G)


def test_a_wrong_range() -> None:
    with pytest.raises(Contradiction, match="wrong range or unit"):
        calibrated(*measured(acc_of=1.2 * ACC), G)


def test_a_gyroscope_whose_axis_is_upside_down() -> None:
    t_s, gyr, acc = measured()
    with pytest.raises(Contradiction, match="axes, signs or scale"):
        calibrated(t_s, gyr * [1, 1, -1], acc, G)


def test_an_accelerometer_that_was_knocked_in_between() -> None:
    t_s, gyr, acc = measured()
    acc = acc + np.where(t_s[:, None] > 20.0, [0.6, 0.0, -0.5], 0.0)
    with pytest.raises(Contradiction, match=r"length differs|apart|as gravity does"):
        calibrated(t_s, gyr, acc, G)
