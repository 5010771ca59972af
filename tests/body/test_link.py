"""The joint constraint, on two bodies whose truth is known: it finds heading and arms, and knows how well."""

from __future__ import annotations

import copy
import pickle

import numpy as np
import pytest
from ball_joint import ARMS_M, HZ, Felt, error_of, followed, swinging, up
from scipy.spatial.transform import Rotation

from imufeedback.body.link import JointFilters
from imufeedback.records import Floats

SURE = np.deg2rad(0.5)


def begun(
    felt: Felt, *, heading_rad: float = 0.0, heading_sd_rad: float = SURE, off_m: Floats | float = 0.0, arm_sd_m=1e-3
) -> JointFilters:
    """A filter that begins with a heading error and wrong arms."""
    vertical = up(felt)
    root = SURE * np.eye(3) + (heading_sd_rad - SURE) * np.outer(vertical, vertical)
    D = Rotation.from_rotvec(heading_rad * vertical).as_matrix() @ felt.D
    return JointFilters.begun(D[None], root[None], (ARMS_M + off_m)[None], np.full((1, 6), arm_sd_m))


def error_deg(link: JointFilters, felt: Felt, at: int = -1) -> float:
    return float(np.rad2deg(np.linalg.norm(error_of(link, felt, at))))


def with_errors(felt: Felt, seed: int) -> Felt:
    """The same with white noise, and with the biases that are left of decent sensors after a rest and a calibration."""
    rng = np.random.default_rng(seed)
    gyr = [g + rng.normal(0, np.deg2rad(0.1), g.shape) + rng.normal(0, np.deg2rad(0.05), 3) for g in felt.gyr]
    acc = [a + rng.normal(0, 0.05, a.shape) + rng.normal(0, 0.05, 3) for a in felt.acc]
    return Felt((gyr[0], gyr[1]), (acc[0], acc[1]), felt.true)


@pytest.fixture(scope="module")
def minute() -> Felt:
    return swinging(60.0)


@pytest.fixture(scope="module")
def still() -> Felt:
    return swinging(60.0, size=0.0)


def test_the_truth_stays_the_truth(minute):
    """Exact sensors, true arms, true heading: nothing pulls it away. (What is left: strapdown by the trapezoid.)"""
    link = begun(minute)
    followed(link, minute)
    assert error_deg(link, minute) < 0.1
    np.testing.assert_allclose(link.arms_m[0], ARMS_M, atol=1e-3)
    np.testing.assert_allclose(link.D[0] @ link.D[0].T, np.eye(3), atol=1e-12)


@pytest.mark.parametrize("wrong_deg", [20.0, -20.0])
def test_a_wrong_heading_is_found_in_motion(minute, wrong_deg):
    link = begun(minute, heading_rad=np.deg2rad(wrong_deg), heading_sd_rad=np.deg2rad(20.0))
    assert error_deg(link, minute, 0) == pytest.approx(20.0)
    followed(link, minute, end=int(20 * HZ))
    assert error_deg(link, minute, int(20 * HZ)) < 1.0
    assert np.rad2deg(np.sqrt(np.trace(link.P[0, :3, :3]))) < 2.0  # and it says so


def test_a_wrong_heading_is_not_found_at_rest(still):
    """Gravity tells no heading: the error stays, and so does the doubt."""
    link = begun(still, heading_rad=np.deg2rad(20.0), heading_sd_rad=np.deg2rad(20.0))
    followed(link, still)
    vertical = up(still)
    assert np.rad2deg(error_of(link, still) @ vertical) == pytest.approx(20.0, abs=0.5)
    assert np.rad2deg(np.sqrt(vertical @ link.P[0, :3, :3] @ vertical)) > 19.0


def test_arms_are_found(minute):
    off = np.array([0.03, -0.02, 0.03, -0.03, 0.03, 0.02])
    link = begun(minute, off_m=off, arm_sd_m=0.04)
    followed(link, minute)
    assert np.abs(link.arms_m - ARMS_M).max() < 0.005
    assert error_deg(link, minute) < 0.5
    assert np.sqrt(np.diag(link.P[0])[3:]).max() < 0.02


def test_arms_and_heading_together(minute):
    off = np.array([-0.03, 0.02, 0.03, 0.02, -0.04, 0.03])
    wrong = np.deg2rad(-15.0)
    link = begun(minute, heading_rad=wrong, heading_sd_rad=np.deg2rad(15.0), off_m=off, arm_sd_m=0.04)
    followed(link, minute)
    assert error_deg(link, minute) < 1.0
    assert np.abs(link.arms_m - ARMS_M).max() < 0.01


def test_the_error_bar_is_honest():
    """Sensors with noise and biases, begun with errors as large as told: of the errors about each axis, over runs and
    times, about as much lies inside one and two standard deviations as should (68 and 95 %; 14 runs tell it to a few
    per cent)."""
    clean, ratios = swinging(16.0), []
    for seed in range(14):
        rng = np.random.default_rng(100 + seed)
        felt = with_errors(clean, seed)
        link = begun(
            felt,
            heading_rad=rng.normal(0, np.deg2rad(5.0)),
            heading_sd_rad=np.deg2rad(5.0),
            off_m=rng.normal(0, 0.03, 6),
            arm_sd_m=0.03,
        )
        for begin_s, end_s in ((0, 2), (2, 6), (6, 15)):
            followed(link, felt, int(begin_s * HZ), int(end_s * HZ))
            ratios.append(error_of(link, felt, int(end_s * HZ)) / np.sqrt(np.diag(link.P[0])[:3]))
    inside = np.abs(np.array(ratios))
    assert (inside < 1.0).mean() > 0.65
    assert (inside < 2.0).mean() > 0.92
    assert np.sqrt((inside**2).mean()) > 0.5  # nor a bar that covers anything


def test_rest_holds_the_tilt(still):
    """Gyroscopes that drift apart by 0.1 °/s about each of two axes, six degrees in a minute: gravity holds the tilt,
    the heading goes, and the error bar about the vertical grows."""
    down = still.true[1][0].inv().apply([0.0, 0.0, -1.0])
    level = np.cross(down, [1.0, 0.0, 0.0])
    drift = np.deg2rad(0.1) * (down + level / np.linalg.norm(level))
    felt = Felt((still.gyr[0], still.gyr[1] + drift), still.acc, still.true)
    link = begun(felt)
    vertical = up(felt)
    before = np.sqrt(vertical @ link.P[0, :3, :3] @ vertical)
    followed(link, felt)
    error = error_of(link, felt)
    heading = float(error @ vertical)
    assert np.rad2deg(np.linalg.norm(error - heading * vertical)) < 0.6
    assert np.rad2deg(abs(heading)) == pytest.approx(6.0, abs=0.5)
    assert np.sqrt(vertical @ link.P[0, :3, :3] @ vertical) > 2.5 * before


@pytest.mark.parametrize("force", [(60.0, 0.0, 0.0), (-20.0, 40.0, 150.0)])
def test_a_knock_does_not_move_it(minute, force):
    """20 ms of many g on one sensor, in the middle of motion."""
    at = int(20.1 * HZ)
    plain, knocked = begun(minute), begun(minute)
    followed(plain, minute, end=at + 40)
    followed(knocked, with_knock(minute, at, np.array(force)), end=at + 40)
    moved = np.rad2deg(Rotation.from_matrix(plain.D[0] @ knocked.D[0].T).magnitude())
    assert 0.0 < moved < 0.5
    assert np.abs(plain.arms_m - knocked.arms_m).max() < 0.005


def with_knock(felt: Felt, at: int, force: Floats) -> Felt:
    acc = felt.acc[1].copy()
    acc[at : at + 4] += force
    return Felt(felt.gyr, (felt.acc[0], acc), felt.true)


def test_a_lasting_disagreement_is_believed_in_the_end(minute):
    """What counts less still counts: a heading that is 20° off though it was called sure comes back."""
    link = begun(minute, heading_rad=np.deg2rad(20.0))
    followed(link, minute)
    assert error_deg(link, minute) < 4.0


def test_a_heading_that_is_set(still):
    link = begun(still, heading_rad=np.deg2rad(20.0), heading_sd_rad=np.deg2rad(20.0))
    vertical = up(still)
    level = np.cross(vertical, [1.0, 0.0, 0.0])
    level /= np.linalg.norm(level)
    tilt_sd = np.sqrt(level @ link.P[0, :3, :3] @ level)
    link.set_heading(0, np.deg2rad(-20.0), vertical, np.deg2rad(0.7))
    assert error_deg(link, still, 0) < 1e-6
    assert np.sqrt(vertical @ link.P[0, :3, :3] @ vertical) == pytest.approx(np.deg2rad(0.7))
    assert np.sqrt(level @ link.P[0, :3, :3] @ level) == pytest.approx(tilt_sd)
    assert np.linalg.eigvalsh(link.P[0]).min() > 0.0


def test_the_covariance_stays_one(minute):
    """Symmetric and positive after 1500 updates."""
    link = begun(minute, heading_sd_rad=np.deg2rad(20.0), arm_sd_m=0.04)
    followed(link, minute)
    np.testing.assert_array_equal(link.P[0], link.P[0].T)
    assert np.linalg.eigvalsh(link.P[0]).min() > 0.0


def test_a_kept_filter_goes_on_as_if_nothing_were(minute):
    """To the last bit, and a kept one does not change with the one that it came from."""
    link = begun(minute, heading_rad=0.2, heading_sd_rad=0.2, arm_sd_m=0.04)
    followed(link, minute, end=1001)
    kept, copied = pickle.loads(pickle.dumps(link)), copy.deepcopy(link)
    followed(link, minute, 1001, 3001)
    for other in (kept, copied):
        followed(other, minute, 1001, 3001)
        np.testing.assert_array_equal(other.D, link.D)
        np.testing.assert_array_equal(other.P, link.P)
        np.testing.assert_array_equal(other.arms_m, link.arms_m)


def test_a_joint_that_gravity_contradicts_gives_way_and_says_so(minute):
    """D thrown off by 40 degrees of tilt that it believes: both sensors' own "up" agree on another. It is told once it
    has lasted a moment, D has their tilt, and its heading has a wide bar."""
    link = begun(minute)
    followed(link, minute, end=2001)
    vertical = up(minute)
    across = np.cross(vertical, [1.0, 0.0, 0.0])
    link.D = Rotation.from_rotvec(np.deg2rad(40.0) * across / np.linalg.norm(across)).as_matrix() @ link.D
    # the constraint goes on in the wrong: its forces are not those of one joint
    wrong = Felt(
        minute.gyr, (minute.acc[0], minute.acc[1] @ Rotation.from_rotvec([0.7, 0.0, 0.0]).as_matrix()), minute.true
    )
    told = followed(link, wrong, 2001, 2401)
    assert told
    assert all(k == 0 and np.rad2deg(off) > 4.0 for k, off in told)
    assert np.sqrt(vertical @ link.P[0, :3, :3] @ vertical) > np.deg2rad(1.0)


def test_a_joint_in_order_is_never_contradicted(minute):
    link = begun(minute, heading_rad=0.3, heading_sd_rad=0.3, off_m=0.02, arm_sd_m=0.04)
    assert followed(link, with_errors(minute, 1)) == []


def test_at_rest_a_heading_stays_as_unknown_as_it_was(still):
    """Offsets of the accelerometers are horizontal forces too; a minute of them is no evidence."""
    felt = with_errors(still, 3)
    link = begun(felt, heading_rad=np.deg2rad(20.0), heading_sd_rad=np.deg2rad(20.0))
    before = error_deg(link, felt, 0)
    followed(link, felt)
    vertical = up(felt)
    assert np.sqrt(vertical @ link.P[0, :3, :3] @ vertical) > np.deg2rad(19.0)
    assert error_deg(link, felt) == pytest.approx(before, abs=4.0)
