"""Pelvis angles: Baker (Gait Posture 2001;13:1-6), scipy's intrinsic ``'YXZ'``, and words for both hands."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import AHEAD, BACK, LEFT, RIGHT, STANDING, UP, carry
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs, pelvis
from imufeedback.records import Hand

MOTIONS = {
    "turns to the left": (carry(AHEAD, LEFT, 12), (12, 0, 0)),
    "turns to the right": (carry(AHEAD, RIGHT, 12), (-12, 0, 0)),
    "lifts its left side": (carry(LEFT, UP, 7), (0, 7, 0)),
    "lifts its right side": (carry(RIGHT, UP, 7), (0, -7, 0)),
    "tips forward": (carry(UP, AHEAD, 20), (0, 0, 20)),
    "rolls backward": (carry(UP, BACK, 20), (0, 0, -20)),
}


def angles(R: np.ndarray) -> np.ndarray:
    """Raw turn, obliquity and tilt."""
    return pelvis.from_joint(jcs.angles(pelvis.as_joint(R)))


def named(R: np.ndarray, hand: Hand) -> np.ndarray:
    return np.rad2deg(angles(R)) * pelvis.signs(hand)


def baker(turn: float, obliquity: float, tilt: float) -> np.ndarray:
    """Segment→earth of a pelvis with these raw angles (degrees), by scipy in a y-up earth."""
    return pelvis.Y_UP.T @ Rotation.from_euler("YXZ", (turn, obliquity, tilt), degrees=True).as_matrix()


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize("words", MOTIONS)
def test_sign_of(words, hand):
    """For a right-hander left is towards the target and the left side leads; for a left-hander the right."""
    motion, expected = MOTIONS[words]
    mirrored = np.array([1, 1, 1]) if hand is Hand.RIGHT else np.array([-1, -1, 1])
    np.testing.assert_allclose(named(motion.as_matrix() @ STANDING, hand), expected * mirrored, atol=1e-9)


def test_standing_is_zero():
    np.testing.assert_allclose(angles(STANDING), 0.0, atol=1e-12)


def test_order_is_rotation_obliquity_tilt():
    rng = np.random.default_rng(2)
    raw = rng.uniform((-170, -60, -170), (170, 60, 170), (200, 3))
    np.testing.assert_allclose(np.rad2deg(angles(np.stack([baker(*one) for one in raw]))), raw, atol=1e-9)


def test_the_axes_are_the_earths_vertical_first_and_the_pelvis_right_last():
    """Tip by 20° about its own right axis, lift the left side by 7°, turn all to the left by 30° about the vertical:
    the same three numbers come back, which any other order would mix."""
    turned = carry(AHEAD, LEFT, 30) * carry(LEFT, UP, 7) * carry(UP, AHEAD, 20)
    np.testing.assert_allclose(named(turned.as_matrix() @ STANDING, Hand.RIGHT), (30, 7, 20), atol=1e-9)


@pytest.mark.parametrize("heading", range(0, 360, 45))
def test_a_room_that_is_turned_changes_the_turn_only(heading):
    R = Rotation.from_euler("z", heading, degrees=True).as_matrix() @ baker(0, 5, -15)
    raw = np.rad2deg(angles(R))
    assert np.cos(np.deg2rad(raw[0] - heading)) == pytest.approx(1.0)
    np.testing.assert_allclose(raw[1:], (5, -15), atol=1e-9)


def test_the_turn_of_one_pose_is_that_of_all_angles():
    rng = np.random.default_rng(3)
    for raw in rng.uniform((-170, -60, -170), (170, 60, 170), (50, 3)):
        zero_rad = rng.uniform(-3.0, 3.0)
        R = baker(*raw)
        back = Rotation.from_euler("z", -zero_rad).as_matrix() @ R
        assert pelvis.turn(R, zero_rad) == pytest.approx(angles(back)[0], abs=1e-12)
        assert pelvis.forward_tilts(R[None, 2])[0] == pytest.approx(-angles(R)[2], abs=1e-12)
    assert np.isnan(pelvis.turn(baker(0, 89, 0), 0.0))
