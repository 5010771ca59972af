"""Ideal sensors against gravity, hand calculation and the orientation they have."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.constants import normal_gravity_m_s2
from imufeedback.records import Hand, Segment
from imufeedback.synth.golfer import BODY, SEGMENTS, Golfer
from imufeedback.synth.plan import Channel, MotionPlan, Piece
from imufeedback.synth.player import Pace, make_player
from imufeedback.synth.profile import Spline
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN, ImuPlace, default_places, measure, true_q_es

PLAIN = np.array([1.0, 0.0, 0.0, 0.0])


@pytest.mark.parametrize(("latitude_deg", "expected"), [(0.0, 9.7803253359), (45.0, 9.806197), (90.0, 9.8321849)])
def test_at_rest_it_feels_gravity(latitude_deg: float, expected: float) -> None:
    """WGS84 normal gravity (NIMA TR8350.2) at the equator, at 45° and at the pole."""
    gravity = normal_gravity_m_s2(math.radians(latitude_deg))
    pose = make_script(reps=0).golfer.pose(np.array([1.0]), BODY)
    for segment, place in default_places(3, BODY).items():
        gyr, acc = measure(pose, place, gravity)
        assert np.linalg.norm(acc) == pytest.approx(expected, abs=1e-5)
        assert not gyr.any()
        up = Rotation.from_quat(true_q_es(pose, place)[0], scalar_first=True).apply(acc[0].copy())
        np.testing.assert_allclose(up, [0, 0, gravity], atol=1e-12, err_msg=segment)


def test_centripetal_and_tangential_by_hand() -> None:
    """A pelvis that turns at 4 rad/s, 3 rad/s² faster each second, sensor 0.1 m behind: 1.6 m/s² forward."""
    turning = Spline.through([(0.0, 0.0, 1.0, 3.0), (1.0, 2.5, 4.0, 3.0), (2.0, 8.0, 7.0, 3.0)])
    golfer = Golfer(make_player(Hand.RIGHT, Pace.SLOW, 1), MotionPlan([Piece(0.0, 2.0, {Channel.TURN: turning})]))
    place = ImuPlace(Segment.PELVIS, np.array([-0.1, 0.0, 0.0]), PLAIN)
    gyr, acc = measure(golfer.pose(np.array([1.0])), place, 9.8)
    np.testing.assert_allclose(gyr, [[0.0, 4.0, 0.0]], atol=1e-12)
    # Behind the axis of a turn to the left, faster means to the right: + on z.
    np.testing.assert_allclose(acc, [[1.6, 9.8, 0.3]], atol=1e-12)


@pytest.mark.parametrize("segment", SEGMENTS)
def test_a_mounting_turns_both_signals(segment: Segment) -> None:
    pose = make_script(pace=Pace.FULL, reps=1).golfer.pose(np.linspace(20.0, 24.0, 100))
    place = default_places(8, [segment])[segment]
    mounted, plain = measure(pose, place), measure(pose, ImuPlace(segment, place.r_m, PLAIN))
    turn = Rotation.from_quat(place.q_sb, scalar_first=True)
    for signal, bare in zip(mounted, plain, strict=True):
        np.testing.assert_allclose(signal, turn.apply(bare.copy()), atol=1e-12)


def test_sensor_rates_are_those_of_the_sensors_orientation() -> None:
    script = make_script(pace=Pace.FULL, reps=1, seed=6)
    t, h = np.linspace(script.ready_s, script.duration_s, 400), 1e-5
    for place in default_places(6, SEGMENTS).values():
        before, after = (
            Rotation.from_quat(true_q_es(script.golfer.pose(t + d), place), scalar_first=True) for d in (-h, h)
        )
        gyr, _ = measure(script.golfer.pose(t), place)
        np.testing.assert_allclose(gyr, (before.inv() * after).as_rotvec() / (2 * h), atol=1e-4)


def test_mountings_differ_and_come_from_the_seed() -> None:
    one, again, other = default_places(1, SEGMENTS), default_places(1, WORN), default_places(2, SEGMENTS)
    turns = np.array([place.q_sb for place in (*one.values(), *other.values())])
    np.testing.assert_allclose(np.linalg.norm(turns, axis=1), 1)
    assert np.abs(turns @ turns.T - np.eye(len(turns))).max() < 0.999
    for segment in WORN:
        np.testing.assert_array_equal(one[segment].q_sb, again[segment].q_sb)


def test_a_full_swing_stays_inside_ordinary_ranges() -> None:
    """Pelvis up to about 600 °/s, thigh 500 °/s, and 3 to 5 g are expected (derived, no published peak)."""
    script = make_script(pace=Pace.FULL, reps=3, seed=2)
    pose = script.golfer.pose(np.arange(script.ready_s, script.duration_s, 0.005))
    for place in default_places(2).values():
        gyr, acc = measure(pose, place)
        assert 100 < np.degrees(np.linalg.norm(gyr, axis=1).max()) < 900
        assert np.linalg.norm(acc, axis=1).max() < 5 * 9.81
