"""A chain of hinges against hand calculation and against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.synth.kinematics import EARTH_FROM_Y_UP, X, Y, Z, upright
from imufeedback.synth.profile import Course

STILL = Course(*np.zeros((3, 1)))


def one(value: float, rate: float = 0.0, accel: float = 0.0) -> Course:
    return Course(np.array([value]), np.array([rate]), np.array([accel]))


def test_an_upright_body_has_its_axes_ahead_up_and_right() -> None:
    axes = upright(STILL, STILL, STILL).rotation.as_matrix()[0]
    np.testing.assert_allclose(axes, EARTH_FROM_Y_UP, atol=1e-15)
    np.testing.assert_allclose(axes[:, X], [1, 0, 0], atol=1e-15)
    np.testing.assert_allclose(axes[:, Y], [0, 0, 1], atol=1e-15)
    np.testing.assert_allclose(axes[:, Z], [0, -1, 0], atol=1e-15)


def test_centripetal_and_tangential_by_hand() -> None:
    # 5 rad/s about the vertical, 0.3 m in front: 7.5 m/s² towards the axis; 20 rad/s² on top: 6 m/s² to the left.
    place = upright(STILL, STILL, STILL).turned(Y, one(0.0, 5.0, 20.0)).moved((0.3, 0.0, 0.0))
    np.testing.assert_allclose(place.velocity_m_s, [[0.0, 1.5, 0.0]], atol=1e-12)
    np.testing.assert_allclose(place.acceleration_m_s2, [[-7.5, 6.0, 0.0]], atol=1e-12)
    # x is anterior, y up, z right: gravity shows on y, the push to the left on -z.
    np.testing.assert_allclose(place.specific_force(9.8), [[-7.5, 9.8, -6.0]], atol=1e-12)


def test_a_chain_is_scipys_intrinsic_rotation() -> None:
    a, b, c = 0.6, -0.3, 0.4
    chain = upright(STILL, STILL, STILL).turned(Z, one(a)).turned(X, one(b)).turned(Y, one(c))
    expected = Rotation.from_matrix(EARTH_FROM_Y_UP) * Rotation.from_euler("ZXY", [a, b, c])
    assert (chain.rotation[0].inv() * expected).magnitude() < 1e-12


def test_rates_of_a_chain_are_those_of_its_orientation() -> None:
    def chain(t):
        wave = [Course(a * np.sin(w * t), a * w * np.cos(w * t), -a * w * w * np.sin(w * t)) for a, w in WAVES]
        return (
            upright(*wave[:3])
            .turned(Y, wave[3])
            .turned(X, wave[4])
            .slid(*wave[1:4])
            .moved((0.1, -0.4, 0.2))
            .turned(Z, wave[5])
        )

    WAVES = [(0.1, 3.0), (0.2, 2.0), (0.05, 5.0), (0.9, 4.0), (0.4, 6.0), (1.1, 3.0)]
    t, h = np.linspace(0.0, 2.0, 200), 1e-5
    before, now, after = chain(t - h), chain(t), chain(t + h)
    turned = (before.rotation.inv() * after.rotation).as_rotvec() / (2 * h)
    np.testing.assert_allclose(now.gyr_rad_s, turned, atol=1e-6)
    np.testing.assert_allclose(now.gyr_rate_rad_s2, (after.gyr_rad_s - before.gyr_rad_s) / (2 * h), atol=1e-5)
    np.testing.assert_allclose(now.velocity_m_s, (after.position_m - before.position_m) / (2 * h), atol=1e-7)
    np.testing.assert_allclose(now.acceleration_m_s2, (after.velocity_m_s - before.velocity_m_s) / (2 * h), atol=1e-6)


def test_coriolis_by_hand() -> None:
    """Walking outwards at 2 m/s on a disc that turns at 3 rad/s to the left, 0.5 m out: 12 m/s² left, 4.5 inwards."""
    place = upright(STILL, STILL, STILL).turned(Y, one(0.0, 3.0)).slid(one(0.5, 2.0), STILL, STILL)
    np.testing.assert_allclose(place.velocity_m_s, [[2.0, 1.5, 0.0]], atol=1e-12)
    np.testing.assert_allclose(place.acceleration_m_s2, [[-4.5, 12.0, 0.0]], atol=1e-12)


@pytest.mark.parametrize("axis", [X, Y, Z])
def test_a_hinge_turns_by_the_right_hand_rule(axis: int) -> None:
    frame = upright(STILL, STILL, STILL)
    turned = (frame.rotation.inv() * frame.turned(axis, one(0.5)).rotation).as_rotvec()[0]
    np.testing.assert_allclose(turned, 0.5 * np.eye(3)[axis], atol=1e-12)
