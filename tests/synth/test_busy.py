"""Between the reps: what is done, that it is smooth, and that a rep's truth does not depend on it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.between_reps import Busy, Interlude
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import BODY, TruthPose
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_idle_script, make_script

SEEDS = range(4)
AT_ADDRESS_ONLY = {Interlude.LOOK, Interlude.BACK_AND_HOME}
"""These are done where no swing comes of it."""


@cache
def session(seed: int, hand: Hand = Hand.RIGHT) -> Script:
    return make_script(hand=hand, pace=Pace.FULL, reps=4, seed=seed, busy=True)


def done(kind: Interlude) -> list[tuple[Script, Busy, TruthPose]]:
    """Angles during everything of one kind that was done."""
    return [
        (script, one, script.golfer.pose(np.linspace(one.start_s, one.end_s, 1001), ()))
        for script in map(session, SEEDS)
        for one in script.truth.busy
        if one.kind is kind
    ]


def degrees(values: np.ndarray) -> np.ndarray:
    return np.degrees(np.ptp(values, axis=0))


def test_everything_is_done_before_the_first_rep_and_some_before_each() -> None:
    for script in map(session, SEEDS):
        first, second = script.truth.reps[:2]
        assert {one.kind for one in script.truth.busy if one.end_s <= first.start_s} == set(Interlude) - AT_ADDRESS_ONLY
        before_second = {one.kind for one in script.truth.busy if first.finish_s < one.start_s < second.start_s}
        assert before_second >= {Interlude.WALK, Interlude.WAGGLE}


def test_the_list_is_in_order_and_outside_the_reps() -> None:
    for script in map(session, SEEDS):
        ends = [script.ready_s] + [t for one in script.truth.busy for t in one[1:]]
        assert ends == sorted(ends)
        for rep in script.truth.reps:
            assert not any(one.start_s < rep.finish_s and one.end_s > rep.start_s for one in script.truth.busy)
        kind, start_s, end_s = script.truth.busy[0]
        assert (str(kind), end_s - start_s > 1) == ("stand", True)


def test_walking() -> None:
    """5 to 8 strides; legs ±25° against each other, pelvis ±5°, on for about a stride's length each."""
    for script, walk, pose in done(Interlude.WALK):
        strides = (walk.end_s - walk.start_s) / 1.1
        assert round(strides) in range(5, 9)
        for side in Side:
            assert degrees(pose.hip_rad[side][:, 0]) == pytest.approx(50, abs=1.5)
            upward = np.diff((pose.hip_rad[side][:, 0] > 0.1).astype(int)) == 1
            assert abs(upward.sum() - strides) <= 1
            assert 50 < np.degrees(pose.knee_rad[side][:, 0].max()) < 60
        assert degrees(pose.pelvis_rad[:, 0]) == pytest.approx(10, abs=0.5)
        ends = script.golfer.pose(np.array([walk.start_s, walk.end_s])).frames[Segment.PELVIS].position_m
        assert 4 < np.linalg.norm(ends[1] - ends[0]) < 10


def test_bending_for_a_ball() -> None:
    for _, _, pose in done(Interlude.BEND):
        for side in Side:
            assert np.degrees(pose.hip_rad[side][:, 0].max()) == pytest.approx(90)
            assert np.degrees(pose.knee_rad[side][:, 0].max()) == pytest.approx(80)


def test_waggling() -> None:
    for script, waggle, pose in done(Interlude.WAGGLE):
        assert 3 < np.degrees(np.abs(pose.pelvis_rad[:, 0]).max()) <= 8
        ends = script.golfer.pose(np.array([waggle.start_s, waggle.end_s]))
        np.testing.assert_allclose(ends.hip_rad[Side.LEFT][0], ends.hip_rad[Side.LEFT][1], atol=1e-12)


def test_swaying_keeps_the_feet_about_where_they_are() -> None:
    for script, sway, _ in done(Interlude.SWAY):
        pose = script.golfer.pose(np.linspace(sway.start_s, sway.end_s, 500))
        across = pose.frames[Segment.PELVIS].position_m
        assert 0.05 < np.linalg.norm(np.ptp(across, axis=0)) < 0.15
        for side in Side:
            foot = pose.frames[Segment.shank(side)].moved((0.0, -0.42, 0.0)).position_m
            assert np.linalg.norm(np.ptp(foot, axis=0)) < 0.5 * np.linalg.norm(np.ptp(across, axis=0))


def test_standing_about_is_never_quite_still() -> None:
    for _, stand, pose in done(Interlude.STAND):
        assert 2.5 < stand.end_s - stand.start_s < 9.5
        assert (np.abs(pose.pelvis_rate_rad_s[50:-50]).sum(axis=1) > 1e-6).all()


def test_the_player_faces_another_way_at_every_rep() -> None:
    facing = []
    for script in map(session, SEEDS):
        at = script.golfer.pose(np.array([rep.address_s for rep in script.truth.reps]))
        heading = np.degrees(at.heading_rad)
        assert np.abs(heading).max() <= 60
        assert np.abs(np.diff(heading)).min() > 0.5
        # The pelvis really faces there: x of the pelvis in the earth.
        ahead = at.frames[Segment.PELVIS].rotation.as_matrix()[:, :, 0]
        np.testing.assert_allclose(np.degrees(np.arctan2(ahead[:, 1], ahead[:, 0])), heading, atol=1e-9)
        facing += heading.tolist()
    assert np.ptp(facing) > 60


def test_the_truth_of_a_rep_does_not_know_what_was_before() -> None:
    """The same player without anything between the reps has the same angles at the same time after address."""
    for seed in SEEDS:
        busy, quiet = session(seed), make_script(pace=Pace.FULL, reps=4, seed=seed)
        for a, b in zip(busy.truth.reps, quiet.truth.reps, strict=True):
            after = np.linspace(0.0, a.finish_s - a.address_s, 200)
            one, other = busy.golfer.pose(a.address_s + after, ()), quiet.golfer.pose(b.address_s + after, ())
            np.testing.assert_allclose(one.pelvis_rad, other.pelvis_rad, atol=1e-9)
            for side in Side:
                np.testing.assert_allclose(one.hip_rad[side], other.hip_rad[side], atol=1e-9)
            assert abs(one.pelvis_rad[0, 0]) < 1e-12


def test_still_at_address_after_the_waggle() -> None:
    for script in map(session, SEEDS):
        for rep in script.truth.reps:
            pose = script.golfer.pose(np.linspace(rep.start_s, rep.address_s, 100), BODY)
            assert max(float(np.abs(frame.gyr_rad_s).max()) for frame in pose.frames.values()) < 1e-12


def test_angles_are_those_of_the_orientations_wherever_the_player_faces() -> None:
    script = session(0)
    pose = script.golfer.pose(np.linspace(script.ready_s, script.duration_s, 3000))
    pelvis = pose.frames[Segment.PELVIS].rotation
    thigh = pose.frames[Segment.RIGHT_THIGH].rotation
    np.testing.assert_allclose((pelvis.inv() * thigh).as_euler("ZXY"), pose.hip_rad[Side.RIGHT], atol=1e-9)
    upright = Rotation.from_rotvec(pose.heading_rad[:, None] * [0.0, 0.0, 1.0]) * Rotation.from_euler("X", np.pi / 2)
    yaw, obliquity, tilt = (upright.inv() * pelvis).as_euler("YXZ").T
    np.testing.assert_allclose(pose.pelvis_rad, np.stack([yaw, obliquity, -tilt], 1), atol=1e-9)


@pytest.mark.parametrize("segment", BODY)
def test_rates_and_accelerations_are_of_one_motion(segment: Segment) -> None:
    script, h = session(1), 2e-5
    impacts = np.array([rep.impact_s for rep in script.truth.reps])
    t = np.linspace(script.ready_s, script.duration_s, 4000)
    t = t[(np.abs(t[:, None] - impacts) > 0.1).all(axis=1)]  # a difference of this step cannot follow the shock
    r = (0.02, -0.2, 0.05)
    before, now, after = (script.golfer.pose(t + d, (segment,)).frames[segment].moved(r) for d in (-h, 0.0, h))
    turned = (before.rotation.inv() * after.rotation).as_rotvec() / (2 * h)
    np.testing.assert_allclose(now.gyr_rad_s, turned, atol=1e-5)
    second = (before.position_m - 2 * now.position_m + after.position_m) / h**2
    assert np.sqrt(np.mean((now.acceleration_m_s2 - second) ** 2)) < 5e-3


def test_nothing_jumps_between_the_pieces() -> None:
    script = session(2)
    borders = np.array([piece.start_s for piece in script.golfer.plan.pieces[1:]])
    before, after = script.golfer.pose(borders - 1e-9, BODY), script.golfer.pose(borders + 1e-9, BODY)
    for segment in BODY:
        a, b = before.frames[segment], after.frames[segment]
        np.testing.assert_allclose(a.rotation.as_quat(), b.rotation.as_quat(), atol=1e-7)
        np.testing.assert_allclose(a.position_m, b.position_m, atol=1e-7)
        np.testing.assert_allclose(a.gyr_rad_s, b.gyr_rad_s, atol=1e-6)
        np.testing.assert_allclose(a.gyr_rate_rad_s2, b.gyr_rate_rad_s2, atol=1e-3)
        np.testing.assert_allclose(a.acceleration_m_s2, b.acceleration_m_s2, atol=1e-3)


def test_a_left_hander_does_the_mirror_image() -> None:
    right, left = session(3), session(3, Hand.LEFT)
    assert right.truth == left.truth
    t = np.arange(right.ready_s, right.duration_s, 0.02)
    one, other = right.golfer.pose(t), left.golfer.pose(t)
    earth, body = np.diag([1.0, -1.0, 1.0]), np.diag([1.0, 1.0, -1.0])
    for segment, twin in ((Segment.PELVIS, Segment.PELVIS), (Segment.LEFT_THIGH, Segment.RIGHT_THIGH)):
        a, b = one.frames[segment], other.frames[twin]
        np.testing.assert_allclose(b.rotation.as_matrix(), earth @ a.rotation.as_matrix() @ body, atol=1e-12)
        np.testing.assert_allclose(b.acceleration_m_s2, a.acceleration_m_s2 @ earth, atol=1e-9)


def test_a_seed_repeats_and_another_differs() -> None:
    again = make_script(pace=Pace.FULL, reps=4, seed=2, busy=True)
    assert again.truth == session(2).truth
    assert again.truth.busy != session(1).truth.busy


def test_flaws_and_paces_can_be_busy_too() -> None:
    script = make_script(pace=Pace.SLOW, flaw=Flaw.STALL, reps=1, seed=1, busy=True)
    assert script.truth.reps[0].stall_s is not None
    assert script.truth.busy


def test_without_it_nothing_is_done_and_the_player_stays() -> None:
    script = make_script(reps=2)
    assert script.truth.busy == ()
    assert not script.golfer.pose(np.linspace(0, script.duration_s, 50), ()).heading_rad.any()


def test_a_rest_lasts_as_long_as_it_is_asked_to() -> None:
    short, long = (make_script(pace=Pace.FULL, reps=3, rest_s=rest) for rest in (0.6, 10.6))
    assert long.duration_s - short.duration_s == pytest.approx(30)
    with pytest.raises(UsageError, match="rest"):
        make_script(rest_s=0.0)


def test_an_idle_session_has_everything_but_reps() -> None:
    script = make_idle_script(seconds=200, seed=2)
    assert script.truth.reps == ()
    assert {one.kind for one in script.truth.busy} == set(Interlude)
    assert script.duration_s >= script.ready_s + 200


def test_an_idle_session_is_smooth_and_never_turns_as_far_as_a_swing_at_address() -> None:
    script = make_idle_script(seconds=100, seed=3)
    t = np.arange(script.ready_s, script.duration_s, 0.005)
    pose = script.golfer.pose(t, ())
    assert np.abs(np.diff(np.degrees(pose.pelvis_rate_rad_s), axis=0)).max() < 3
    for one in script.truth.busy:
        if one.kind in AT_ADDRESS_ONLY:
            inside = (t >= one.start_s) & (t <= one.end_s)
            assert np.abs(np.degrees(pose.pelvis_rad[inside, 0])).max() < 27
