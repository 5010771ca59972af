"""The body stage: signs from words, independence of mountings and headings, zeroing, error bars, bad data."""

from __future__ import annotations

import pickle
from dataclasses import fields

import numpy as np
import pytest
from bodies import (
    AHEAD,
    ALL,
    BACK,
    DOWN,
    GRID_HZ,
    LEFT,
    RIGHT,
    STANDING,
    UP,
    WORN,
    Wearer,
    carry,
    command,
    degrees,
    linked_forces,
    random_mounting,
    stretch,
    times,
    true_fit,
)
from scipy.spatial.transform import Rotation

from imufeedback.body import Body
from imufeedback.body.bars import FORGETS_S, UP_SD_RAD
from imufeedback.body.links import BEGIN_HEADING_SD_RAD
from imufeedback.commands import Asked, SetFit, args_of
from imufeedback.records import (
    AlignedBlock,
    Angles,
    Doubted,
    FitRefused,
    Fitted,
    Hand,
    Segment,
    Side,
    Zeroed,
    same,
)
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import PLACES_M, ImuPlace, measure

HEADING = {
    Segment.PELVIS: 40.0,
    Segment.LEFT_THIGH: -75.0,
    Segment.RIGHT_THIGH: 160.0,
    Segment.LEFT_SHANK: 5.0,
    Segment.RIGHT_SHANK: -130.0,
}
"""Every sensor's earth is turned its own way."""
LEGS = {
    Side.LEFT: (Segment.LEFT_THIGH, Segment.LEFT_SHANK),
    Side.RIGHT: (Segment.RIGHT_THIGH, Segment.RIGHT_SHANK),
}


def body(hand: Hand = Hand.RIGHT, segments=ALL) -> Body:
    return Body(segments, hand=hand, grid_hz=GRID_HZ)


def standing(segments=ALL) -> dict[Segment, np.ndarray]:
    return dict.fromkeys(segments, STANDING)


def moved(*motions: tuple[tuple[Segment, ...], Rotation], segments=ALL) -> dict[Segment, np.ndarray]:
    """Standing, with some segments moved."""
    poses = standing(segments)
    for which, motion in motions:
        for one in which:
            poses[one] = motion.as_matrix() @ poses[one]
    return poses


def ready(stage: Body, segments=ALL, *, mounting=None, heading=HEADING, sd_axes_rad=None) -> Wearer:
    """Fitted, and zeroed in standing at 0 s."""
    mounting = mounting if mounting is not None else random_mounting(3)
    stage.feed(Asked(0.0, SetFit.of(true_fit(mounting, segments, sd_axes_rad))))
    worn = Wearer(stage, standing(segments), mounting, heading)
    out = worn.hold(standing(segments), 0.0, seconds=0.02, rest=True)
    assert [type(one) for one in out] == [Zeroed, Angles]
    assert out[0].reason == "stillness"
    return worn


def rows(block: AlignedBlock, which: slice) -> AlignedBlock:
    return AlignedBlock(block.segments, *(getattr(block, f.name)[which] for f in fields(block) if f.name != "segments"))


def angles_of(worn: Wearer, poses, *, at_s: float = 1.0, **kwargs) -> Angles:
    """Of two samples in a pose, after the movement into it."""
    (angles,) = worn.hold(poses, at_s, seconds=0.01, **kwargs)
    assert isinstance(angles, Angles)
    return angles


# ── sign table ───────────────────────────────────────────────────────────────────────────────────────────────────

INWARD = {Side.RIGHT: LEFT, Side.LEFT: RIGHT}
OUTWARD = {Side.RIGHT: RIGHT, Side.LEFT: LEFT}


def of_the_leg(side: Side) -> dict[str, tuple[Rotation, tuple[float, float, float]]]:
    """Words, the motion of thigh and shank together, and hip flexion, adduction and internal rotation."""
    return {
        "swings forward": (carry(DOWN, AHEAD, 25), (25, 0, 0)),
        "swings backward": (carry(DOWN, BACK, 10), (-10, 0, 0)),
        "crosses to the other side": (carry(DOWN, INWARD[side], 9), (0, 9, 0)),
        "goes out to its own side": (carry(DOWN, OUTWARD[side], 9), (0, -9, 0)),
        "turns inward": (carry(AHEAD, INWARD[side], 14), (0, 0, 14)),
        "turns outward": (carry(AHEAD, OUTWARD[side], 14), (0, 0, -14)),
    }


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("words", of_the_leg(Side.RIGHT))
def test_hip_sign_when_the_leg(words, side):
    """Positive as named on both sides; the other leg and both knees stay at zero."""
    motion, expected = of_the_leg(side)[words]
    found = angles_of(ready(body()), moved((LEGS[side], motion)))
    np.testing.assert_allclose(degrees(found, "hip", side)[-1], expected, atol=1e-6)
    np.testing.assert_allclose(degrees(found, "hip", side.other)[-1], 0, atol=1e-6)
    for one in Side:
        np.testing.assert_allclose(degrees(found, "knee", one)[-1], 0, atol=1e-6)
    np.testing.assert_allclose(found.pelvis.angle_rad, 0, atol=1e-8)


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize(
    ("words", "expected"),
    [("tips forward", (20, 0, 0)), ("turns inward", (0, 0, -14)), ("turns outward", (0, 0, 14))],
)
def test_hip_sign_when_only_the_pelvis(words, expected, side):
    """The pelvis moves over a leg that stands: it tips forward and the hip bends; it turns towards the inner side of
    the leg and the hip turns out."""
    motion = {
        "tips forward": carry(UP, AHEAD, 20),
        "turns inward": carry(AHEAD, INWARD[side], 14),
        "turns outward": carry(AHEAD, OUTWARD[side], 14),
    }[words]
    found = angles_of(ready(body()), moved(((Segment.PELVIS,), motion)))
    np.testing.assert_allclose(degrees(found, "hip", side)[-1], expected, atol=1e-6)


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize(
    ("heel", "expected"), [(BACK, (50, 0, 0)), (AHEAD, (-50, 0, 0))], ids=["to the seat", "forward"]
)
def test_knee_sign_when_the_heel_goes(heel, expected, side):
    found = angles_of(ready(body()), moved((LEGS[side][1:], carry(DOWN, heel, 50))))
    np.testing.assert_allclose(degrees(found, "knee", side)[-1], expected, atol=1e-6)
    np.testing.assert_allclose(degrees(found, "hip", side)[-1], 0, atol=1e-6)
    np.testing.assert_allclose(degrees(found, "knee", side.other)[-1], 0, atol=1e-6)


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize(
    ("words", "motion", "expected"),
    [
        ("turns to the left", carry(AHEAD, LEFT, 12), (12, 0, 0)),
        ("lifts the left side", carry(LEFT, UP, 7), (0, 7, 0)),
        ("tips forward", carry(UP, AHEAD, 20), (0, 0, 20)),
    ],
)
def test_pelvis_sign_when_it(words, motion, expected, hand):
    mirrored = np.array([1, 1, 1]) if hand is Hand.RIGHT else np.array([-1, -1, 1])
    found = angles_of(ready(body(hand)), moved((ALL, motion)))
    np.testing.assert_allclose(np.rad2deg(found.pelvis.angle_rad[-1]), expected * mirrored, atol=1e-6)
    for side in Side:
        np.testing.assert_allclose(degrees(found, "hip", side)[-1], 0, atol=1e-6)


# ── nothing depends on the room or on the straps ─────────────────────────────────────────────────────────────────

POSE = moved(
    ((Segment.PELVIS,), carry(AHEAD, LEFT, 20) * carry(UP, AHEAD, 15)),
    (LEGS[Side.RIGHT], carry(DOWN, AHEAD, 18) * carry(AHEAD, RIGHT, 11)),
    (LEGS[Side.LEFT], carry(DOWN, AHEAD, 30) * carry(DOWN, LEFT, 6)),
    (LEGS[Side.RIGHT][1:], carry(DOWN, BACK, 40)),
)


def expected_hips() -> dict[Side, np.ndarray]:
    """By scipy, from the segments themselves."""
    P = Rotation.from_matrix(POSE[Segment.PELVIS])
    out = {}
    for side in Side:
        raw = (P.inv() * Rotation.from_matrix(POSE[Segment.thigh(side)])).as_euler("ZXY", degrees=True)
        out[side] = raw * ([1, 1, 1] if side is Side.RIGHT else [1, -1, -1])
    return out


@pytest.mark.parametrize("facing", range(0, 360, 45))
def test_joint_angles_do_not_depend_on_where_the_player_faces(facing):
    heading = {segment: own + facing for segment, own in HEADING.items()}
    stage = ready(body(), heading=heading)
    found = angles_of(stage, POSE)
    for side, expected in expected_hips().items():
        np.testing.assert_allclose(degrees(found, "hip", side)[-1], expected, atol=1e-6)
    np.testing.assert_allclose(np.rad2deg(found.pelvis.angle_rad[-1, 0]), 20, atol=1e-6)


@pytest.mark.parametrize("axis", ["x", "y", "z"])
@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_joint_angles_do_not_depend_on_how_a_sensor_is_strapped(axis, turn):
    mounting = {Segment.RIGHT_THIGH: Rotation.from_euler(axis, turn, degrees=True)}
    found = angles_of(ready(body(), mounting=mounting), POSE)
    np.testing.assert_allclose(degrees(found, "hip", Side.RIGHT)[-1], expected_hips()[Side.RIGHT], atol=1e-6)


def test_a_quaternion_and_its_negative_give_the_same_angles():
    stage = ready(body())
    stage.hold(POSE, 1.0)
    block = stage.stretch(POSE, times(1.1, 2))
    flipped = block.q_es.copy()
    flipped[1] *= -1
    (found,) = stage.feed(type(block)(**{**{f: getattr(block, f) for f in block.__slots__}, "q_es": flipped}))
    for joint in found.joints:
        np.testing.assert_allclose(joint.angle_rad[1], joint.angle_rad[0], atol=1e-12)


def test_pelvis_and_thigh_of_one_heading():
    """Pelvis: heading 40, flexion 10; thigh: heading 40, flexion 40. Relative 30 / 0 / 0."""
    tip, swing = carry(UP, AHEAD, -10), carry(DOWN, AHEAD, 40)  # flexion turns z-up segments backward
    poses = moved(((Segment.PELVIS,), tip), ((Segment.LEFT_THIGH, Segment.RIGHT_THIGH), swing), segments=WORN)
    stage = ready(body(segments=WORN), WORN, mounting={}, heading=40.0)
    found = angles_of(stage, poses)
    for side in Side:
        np.testing.assert_allclose(degrees(found, "hip", side)[-1], (30, 0, 0), atol=1e-6)


# ── a whole session against its exact truth ──────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("hand", Hand)
def test_angles_and_rates_of_a_whole_swing(hand):
    """True orientations of a synthetic swing, every sensor with its own heading and mounting: all that the body stage
    itself adds is the heading of the zero, whose truth is the address."""
    script = make_script(hand=hand, pace=Pace.FULL, reps=1, seed=4)
    rep = script.truth.reps[0]
    mounting = random_mounting(9)
    stage = body(hand)
    stage.feed(Asked(0.0, SetFit.of(true_fit(mounting, ALL))))

    places = {one: ImuPlace(one, np.array(PLACES_M[one]), np.array([1.0, 0, 0, 0])) for one in ALL}

    def block(begin_s: float, end_s: float, rest: bool):
        t_s = np.arange(round(begin_s * GRID_HZ), round(end_s * GRID_HZ)) / GRID_HZ
        pose = script.golfer.pose(t_s)
        poses = {one: pose.frames[one].rotation.as_matrix() for one in ALL}
        seen = {one: measure(pose, places[one]) for one in ALL}
        gyr, acc = ({one: both[i] for one, both in seen.items()} for i in (0, 1))
        return pose, stretch(poses, t_s=t_s, mounting=mounting, heading_deg=HEADING, gyr=gyr, acc=acc, rest=rest)

    still_s = rep.start_s + 1.0
    stage.feed(block(0.5, 0.6, True)[1])
    stage.feed(block(0.6, still_s, False)[1])
    assert zeroings(stage.feed(block(still_s, still_s + 0.04, True)[1])) == ["address"]
    pose, swing = block(still_s + 0.04, rep.finish_s, False)
    (found,) = stage.feed(swing)
    np.testing.assert_allclose(found.pelvis.angle_rad, pose.pelvis_rad, atol=np.deg2rad(0.3))
    np.testing.assert_allclose(found.pelvis.rate_rad_s, pose.pelvis_rate_rad_s, atol=np.deg2rad(3.0))
    for side in Side:
        hip, knee = found.joint("hip", side), found.joint("knee", side)
        np.testing.assert_allclose(hip.angle_rad, pose.hip_rad[side], atol=np.deg2rad(1.0))
        np.testing.assert_allclose(hip.rate_rad_s, pose.hip_rate_rad_s[side], atol=np.deg2rad(12.0))
        np.testing.assert_allclose(knee.angle_rad, pose.knee_rad[side], atol=np.deg2rad(1.5))
        for joint, true in ((hip, pose.hip_rad[side]), (knee, pose.knee_rad[side])):
            assert (np.abs(joint.angle_rad - true) / joint.sd_rad).max() < 3.0


def test_rates_are_the_derivative_of_the_angles():
    """Also across blocks, and also where the angle wraps: no spike."""
    n = 500
    rate = np.deg2rad(150.0) * np.sin(np.pi / 2 * np.minimum(np.arange(n) / 100, 1.0)) ** 2
    turn = np.concatenate(([0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1])))) / GRID_HZ  # passes 180°
    poses = {one: np.tile(STANDING, (n, 1, 1)) for one in WORN}
    poses[Segment.PELVIS] = Rotation.from_rotvec(np.outer(turn, UP)).as_matrix() @ STANDING
    gyr = {one: np.zeros((n, 3)) for one in WORN} | {Segment.PELVIS: np.outer(rate, [0, 1, 0])}
    worn = ready(body(segments=WORN), WORN)
    whole = worn.stretch(poses, times(0.02, n), gyr=gyr, acc=linked_forces(poses, gyr))
    found = [out for k in range(0, n, 4) for out in worn.feed(rows(whole, slice(k, k + 4)))]
    angle = np.concatenate([one.pelvis.angle_rad[:, 0] for one in found])
    assert np.ptp(angle) > np.pi
    told = np.concatenate([one.pelvis.rate_rad_s[:, 0] for one in found])
    np.testing.assert_allclose(told, rate, atol=1e-9)
    np.testing.assert_allclose(np.gradient(np.unwrap(angle), 1 / GRID_HZ)[1:-1], rate[1:-1], atol=1e-3)
    hip = np.concatenate([one.joint("hip", Side.RIGHT).rate_rad_s[:, 2] for one in found])
    np.testing.assert_allclose(hip, -rate, atol=1e-6)


# ── fits ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_nothing_before_a_fit():
    assert body().feed(stretch(standing(), t_s=times(0, 4), rest=True)) == []


def test_nothing_before_a_zero():
    stage = body()
    assert isinstance(stage.feed(Asked(0.0, SetFit.of(true_fit({}, ALL))))[0], Fitted)
    assert stage.feed(stretch(standing(), t_s=times(0, 4), rest=False)) == []


def test_a_stored_fit_says_so_and_comes_back_exactly():
    fit = true_fit(random_mounting(1), ALL, (0.01, 0.02, 0.03))
    assert same(SetFit.of(fit).fit(), fit)
    (fitted,) = body().feed(command("set-fit", 2.5, **args_of(SetFit.of(fit))))
    assert fitted.stored
    assert fitted.t_s == pytest.approx(2.5)
    assert same(fitted.fit, fit)


def test_a_stored_fit_without_a_worn_segment_is_refused_by_name():
    stage = ready(body())
    (refused,) = stage.feed(Asked(0.0, SetFit.of(true_fit({}, WORN))))
    assert isinstance(refused, FitRefused)
    assert "left shank" in refused.reason
    assert "pelvis" not in refused.reason
    angles_of(stage, POSE)  # the old fit is still in use


def test_a_new_fit_needs_a_new_zero():
    stage = ready(body())
    stage.feed(Asked(0.0, SetFit.of(true_fit(random_mounting(3), ALL))))
    assert stage.feed(stretch(POSE, t_s=times(1, 2))) == []


def test_a_fit_over_an_empty_window_is_refused_with_the_segment():
    stage = body()
    (refused,) = stage.feed(command("fit", 1.0, still=[0, 1], flex=[2, 3]))
    assert isinstance(refused, FitRefused)
    assert "no samples" in refused.reason


@pytest.fixture(scope="module")
def calibration_movements():
    """Blocks of half a second of the calibration movements of a synthetic golfer, and their windows."""
    script = make_script(reps=0, seed=2)
    mounting = random_mounting(11, WORN)
    places = {one: ImuPlace(one, np.array(PLACES_M[one]), np.array([1.0, 0, 0, 0])) for one in WORN}

    def block(begin_s: float):
        t_s = begin_s + np.arange(100) / GRID_HZ
        pose = script.golfer.pose(t_s)
        poses = {one: pose.frames[one].rotation.as_matrix() for one in WORN}
        seen = {one: measure(pose, places[one]) for one in WORN}
        gyr, acc = ({one: both[i] for one, both in seen.items()} for i in (0, 1))
        return stretch(poses, t_s=t_s, mounting=mounting, heading_deg=HEADING, gyr=gyr, acc=acc)

    blocks = [block(0.5 * k) for k in range(int(2 * script.duration_s))]
    return blocks, script.fit_windows, mounting


def fit_command(windows, at_s: float, **changed):
    flex = {str(one): list(windows.flex[one]) for one in WORN}
    return command("fit", at_s, **{"still": list(windows.still), "flex": flex} | changed)


def test_a_fit_of_what_was_just_done(calibration_movements):
    blocks, windows, mounting = calibration_movements
    stage = body(segments=WORN)
    for block in blocks:
        assert stage.feed(block) == []
    (fitted,) = stage.feed(fit_command(windows, 25.0))
    assert isinstance(fitted, Fitted)
    assert not fitted.stored
    assert fitted.t_s == pytest.approx(25.0)
    for one in fitted.fit.segments:
        error = Rotation.from_quat(one.q_sb, scalar_first=True) * mounting[one.segment].inv()
        # zero-g offsets are looked for where there are none: a body that is not of the usual size shows a few mg
        assert np.rad2deg(error.magnitude()) < 0.5


def test_one_window_of_movement_serves_all(calibration_movements):
    """From the first lift to the last bow: every segment finds its own flexion in it."""
    blocks, windows, _ = calibration_movements
    stage = body(segments=WORN)
    for block in blocks:
        stage.feed(block)
    whole = [min(w[0] for w in windows.flex.values()), max(w[1] for w in windows.flex.values())]
    (fitted,) = stage.feed(fit_command(windows, 25.0, flex=whole))
    assert isinstance(fitted, Fitted)


def test_a_fit_with_a_movement_in_the_still_window_is_refused_and_changes_nothing(calibration_movements):
    blocks, windows, _ = calibration_movements
    stage = body(segments=WORN)
    for block in blocks:
        stage.feed(block)
    before = stage.state.fit
    (refused,) = stage.feed(fit_command(windows, 25.0, still=list(windows.flex[Segment.PELVIS])))
    assert isinstance(refused, FitRefused)
    assert "moved while standing" in refused.reason
    assert stage.state.fit is before is None


def test_without_shanks_there_is_no_knee():
    found = angles_of(ready(body(segments=WORN), WORN), standing(WORN))
    assert {(one.joint, one.side) for one in found.joints} == {("hip", Side.LEFT), ("hip", Side.RIGHT)}
    with pytest.raises(KeyError, match="no left knee"):
        found.joint("knee", Side.LEFT)


# ── zeroing ──────────────────────────────────────────────────────────────────────────────────────────────────────

ADDRESS = moved((ALL, carry(UP, AHEAD, 18)), (LEGS[Side.LEFT] + LEGS[Side.RIGHT], carry(DOWN, AHEAD, 28)))


def turned(poses, degrees_: float):
    spin = carry(AHEAD, LEFT, degrees_).as_matrix()
    return {one: spin @ R for one, R in poses.items()}


def hold(worn: Wearer, poses, at_s: float, *, rest: bool = True, **kwargs) -> list:
    return worn.hold(poses, at_s, rest=rest, **kwargs)


def zeroings(out: list) -> list[str]:
    return [one.reason for one in out if isinstance(one, Zeroed)]


def test_address_zeroes_turn_and_rotation_but_never_the_thigh_angle():
    stage = ready(body())
    pose = turned(ADDRESS, 30)
    pose[Segment.RIGHT_THIGH] = carry(AHEAD, RIGHT, 8).as_matrix() @ pose[Segment.RIGHT_THIGH]
    before = hold(stage, pose, 0.5, rest=False)[0]
    assert np.rad2deg(before.pelvis.angle_rad[-1, 0]) == pytest.approx(30, abs=1e-6)
    assert degrees(before, "hip", Side.RIGHT)[-1, 2] < -5
    out = hold(stage, pose, 2.0)
    assert zeroings(out) == ["address"]
    np.testing.assert_allclose(out[-1].pelvis.angle_rad[-1, 0], 0, atol=1e-9)
    (angles,) = hold(stage, pose, 2.1, rest=False)
    np.testing.assert_allclose(angles.pelvis.angle_rad[-1, 0], 0, atol=1e-9)
    for side in Side:
        np.testing.assert_allclose(degrees(angles, "hip", side)[-1, 2], 0, atol=1e-6)
        # only heading is taken out, so flexion moves by the little that heading does to it
        assert degrees(angles, "hip", side)[-1, 0] == pytest.approx(degrees(before, "hip", side)[-1, 0], abs=1.5)
        assert degrees(angles, "hip", side)[-1, 0] > 25


def test_the_zero_follows_while_the_player_stays_at_address():
    stage = ready(body())
    assert zeroings(hold(stage, ADDRESS, 2.0)) == ["address"]
    assert zeroings(hold(stage, ADDRESS, 2.5)) == []
    assert zeroings(hold(stage, turned(ADDRESS, 3), 3.5)) == ["address"]


def test_no_zero_at_the_top_of_a_slow_backswing():
    """Still, bent, both hips flexed: all of an address but the turn. A player who has not stood up is in a swing."""
    stage = ready(body())
    assert zeroings(hold(stage, ADDRESS, 2.0)) == ["address"]
    for degrees_ in (-40, -20, -9):
        assert zeroings(hold(stage, turned(ADDRESS, degrees_), 4.0 - degrees_ / 10, seconds=1.0)) == []


def test_after_standing_up_an_address_may_face_anywhere():
    stage = ready(body())
    hold(stage, ADDRESS, 2.0)
    hold(stage, standing(), 4.0, rest=False)
    assert zeroings(hold(stage, turned(ADDRESS, 95), 6.0)) == ["address"]


def test_sitting_is_no_address():
    """Thighs level, pelvis rolled back by 22°."""
    seat = moved((ALL, carry(UP, BACK, 22)), (LEGS[Side.LEFT] + LEGS[Side.RIGHT], carry(DOWN, AHEAD, 60)))
    assert zeroings(hold(ready(body()), seat, 3.0)) == []


def test_quiet_standing_is_no_address():
    assert zeroings(hold(ready(body()), standing(), 3.0)) == []


def test_moving_is_no_address():
    stage = ready(body())
    gyr = {one: np.tile([0.06, 0, 0], (20, 1)) for one in ALL}
    block = stretch(ADDRESS, t_s=times(3.0, 20), mounting=random_mounting(3), heading_deg=HEADING, gyr=gyr, rest=True)
    assert zeroings(stage.feed(block)) == []


def test_zero_on_request_takes_the_next_complete_step():
    """Of those that come every 40 ms, counted from the session's start."""
    worn = ready(body())
    pose = turned(POSE, 25)
    hold(worn, pose, 1.0, rest=False)
    assert worn.feed(command("zero", 1.1)) == []
    ok = {Segment.LEFT_THIGH: np.arange(8) != 4}  # the first such step is 1.12 s
    assert zeroings(worn.feed(worn.stretch(pose, times(1.1, 8), ok=ok))) == []
    out = worn.feed(worn.stretch(pose, times(1.14, 8)))
    assert zeroings(out) == ["asked"]
    before, zeroed, after = out
    assert zeroed.t_s == after.t_s[0] == pytest.approx(1.16)
    assert before.t_s[-1] < zeroed.t_s
    np.testing.assert_allclose(np.rad2deg(before.pelvis.angle_rad[:, 0]), 45, atol=1e-6)
    np.testing.assert_allclose(after.pelvis.angle_rad[:, 0], 0, atol=1e-9)
    out = worn.feed(worn.stretch(pose, times(1.18, 8)))
    assert zeroings(out) == []
    for side in Side:
        np.testing.assert_allclose(degrees(out[-1], "hip", side)[:, 2], 0, atol=1e-6)


def test_the_first_zero_wants_every_sensor():
    """Where one is missing at its step, the next such step has to do."""
    stage = body()
    stage.feed(Asked(0.0, SetFit.of(true_fit(random_mounting(3), ALL))))
    worn = Wearer(stage, standing(), random_mounting(3), HEADING)
    ok = {Segment.LEFT_THIGH: np.array([False, True, True, True])}
    assert worn.feed(worn.stretch(standing(), times(20.0, 4), rest=True, ok=ok)) == []
    zeroed, angles = worn.feed(worn.stretch(standing(), times(20.02, 8), rest=True))
    assert isinstance(zeroed, Zeroed)
    assert zeroed.t_s == angles.t_s[0] == pytest.approx(20.04)
    for joint in angles.joints:
        np.testing.assert_allclose(joint.angle_rad, 0, atol=1e-9)
        assert np.rad2deg(joint.sd_rad).max() < 1.5


# ── error bars, bad data, state ──────────────────────────────────────────────────────────────────────────────────


def with_turn_error(worn: Wearer, sd_rad: dict[Side, float]) -> None:
    """Make each hip's filter unsure by so much about the vertical, and of nothing else."""
    state = worn.stage.state
    up = worn.mounting[Segment.PELVIS].apply(worn.poses[Segment.PELVIS].T @ UP)
    up = state.links.S[WORN.index(Segment.PELVIS)] @ up
    for side, P in zip(Side, state.links.link.P, strict=True):  # the hips, in the order of the sides
        P[:] = 0.0
        P[:3, :3] = sd_rad[side] ** 2 * np.outer(up, up)
    worn.stage.state = state


def test_a_joint_that_gravity_contradicts_is_told_once_an_episode():
    """The right hip's filter is thrown off by 70° three times, the second time soon after the first."""
    worn = ready(body(segments=WORN), WORN)
    events: list = []
    for at_s in (1.0, 2.5, 12.0):
        events += hold(worn, standing(WORN), at_s, rest=False)
        state = worn.stage.state
        right = [(j.name, j.side) for j in worn.stage._links.joints].index(("hip", Side.RIGHT))
        thrown = Rotation.from_rotvec([np.deg2rad(70.0), 0.0, 0.0]).as_matrix()
        state.links.link.D[right] = thrown @ state.links.link.D[right]
        worn.stage.state = state
        events += worn.hold(standing(WORN), at_s + 0.5, seconds=0.8, rest=False)
    told = [one for one in events if isinstance(one, Doubted)]
    assert [(one.about, one.kind) for one in told] == [("right hip", "joint")] * 2
    assert told[0].t_s < 3.5
    assert told[1].t_s > 12.0
    assert "gravity" in told[0].text
    assert "\n" not in told[0].text


def test_heading_error_goes_into_rotation_and_hardly_into_the_thigh_angle():
    """10° of relative heading at (30, -10, 0) and a pelvis tilted by 20°: 1.6 / 1.9 / 9.9 (computed from the
    definition; reference values of the joint coordinate system)."""
    P = carry(UP, AHEAD, 20)
    thigh = P.as_matrix() @ STANDING @ Rotation.from_euler("ZXY", (30, -10, 0), degrees=True).as_matrix()
    poses = standing(WORN) | {Segment.PELVIS: P.as_matrix() @ STANDING, Segment.RIGHT_THIGH: thigh}
    worn = ready(body(segments=WORN), WORN)
    hold(worn, poses, 1.0, rest=False)
    with_turn_error(worn, {Side.RIGHT: np.deg2rad(10.0), Side.LEFT: 0.0})
    (found,) = worn.hold(poses, 1.1, seconds=0.04)  # the error bars follow every 40 ms
    np.testing.assert_allclose(np.rad2deg(found.joint("hip", Side.RIGHT).sd_rad[-1]), (1.6, 1.9, 9.9), atol=0.35)
    np.testing.assert_allclose(found.joint("hip", Side.LEFT).sd_rad[-1], np.sqrt(2) * UP_SD_RAD, rtol=0.3)


def test_the_pelvis_error_bar_counts_from_the_zero():
    worn = ready(body(segments=WORN), WORN)
    sway_deg = np.rad2deg(UP_SD_RAD)

    def fed(at_s: float, sd_deg: float) -> Angles:
        sd = dict.fromkeys(WORN, np.full(2, np.deg2rad(sd_deg)))
        return worn.feed(worn.stretch(standing(WORN), times(at_s, 2), heading_sd_rad=sd))[-1]

    assert np.rad2deg(fed(60, 3.0).pelvis.sd_rad[-1, 0]) == pytest.approx(np.hypot(3.0, sway_deg), abs=1e-6)
    worn.feed(command("zero", 61.5))
    fed(62, 4.0)
    assert np.rad2deg(fed(63, 4.5).pelvis.sd_rad[-1, 0]) == pytest.approx(np.hypot(0.5, sway_deg), abs=1e-6)


def test_the_hip_error_bar_grows_about_the_vertical_and_falls_with_a_zero():
    """At rest nothing shows the heading, gravity holds the tilt: in 20 s the rotation gets less sure by the gyroscopes'
    wander and what is left of their biases, the thigh angle does not; whatever the drift that the sensors' own filters
    expect of their headings."""
    worn = ready(body(segments=WORN), WORN)
    begin, sway = np.rad2deg(BEGIN_HEADING_SD_RAD), np.sqrt(2) * np.rad2deg(UP_SD_RAD)
    before = angles_of(worn, standing(WORN), at_s=0.02).joint("hip", Side.LEFT).sd_rad[-1]
    assert np.rad2deg(before[2]) == pytest.approx(np.hypot(begin, sway), rel=0.1)
    drifted = dict.fromkeys(WORN, np.deg2rad(0.05) * np.arange(4000) / GRID_HZ)
    worn.feed(worn.stretch(standing(WORN), times(0.03, 4000), heading_sd_rad=drifted))
    after = angles_of(worn, standing(WORN), at_s=20.03).joint("hip", Side.LEFT).sd_rad[-1]
    wandered, biased = 0.3 * 20**0.5, np.sqrt(2) * 0.05 * 20
    assert np.rad2deg(after[2]) == pytest.approx(np.linalg.norm([begin, sway, wandered, biased]), rel=0.1)
    assert (after[:2] < 1.05 * before[:2]).all()
    worn.feed(command("zero", 20.04))
    worn.feed(worn.stretch(standing(WORN), times(20.04, 2), heading_sd_rad=float(drifted[Segment.PELVIS][-1])))
    zeroed = angles_of(worn, standing(WORN), at_s=20.05).joint("hip", Side.LEFT).sd_rad[-1]
    assert np.rad2deg(zeroed[2]) == pytest.approx(np.hypot(begin, sway), rel=0.1)


def test_the_fittings_error_shows_where_the_body_has_turned_away_from_its_zero():
    """What tilts "up" in the fit tilts it at the zero too, and cancels; turned by a quarter about the vertical, an
    unknown lean (about x) has become an error of bending, and the functional axis, which turns about the vertical, has
    not. Seconds later gravity has brought "up" back, and it cancels again, whichever way the player stands."""
    lean = np.deg2rad(1.4)

    def variances(sd_axes, pose, at_s=3.0) -> np.ndarray:
        worn = ready(body(segments=WORN), WORN, sd_axes_rad=sd_axes)
        if pose is not STANDING:
            hold(worn, dict.fromkeys(WORN, pose), 1.0, rest=False)
        return worn.hold(dict.fromkeys(WORN, pose), at_s, seconds=0.04)[-1].joint("hip", Side.LEFT).sd_rad[-1] ** 2

    def more(sd_axes, pose, at_s=3.0) -> np.ndarray:
        return variances(sd_axes, pose, at_s) - variances((0.0, 0.0, 0.0), pose, at_s)

    quarter = carry(AHEAD, LEFT, 90).as_matrix() @ STANDING
    np.testing.assert_allclose(more((lean, 0.03, 0.01), STANDING), 0, atol=1e-7)
    found = more((lean, 0.0, 0.0), quarter)
    assert found[0] == pytest.approx(2 * lean**2 * np.exp(-3.0 / FORGETS_S), rel=0.02)  # pelvis and thigh
    assert more((lean, 0.0, 0.0), quarter, 30.0)[0] < 0.01 * 2 * lean**2
    np.testing.assert_allclose(more((0.0, 0.03, 0.0), quarter), 0, atol=1e-7)


def test_a_sensor_without_data_spoils_its_own_joints_only():
    worn = ready(body())
    hold(worn, POSE, 1.0, rest=False)
    ok = {Segment.LEFT_THIGH: np.array([True, False, True])}
    (found,) = worn.feed(worn.stretch(POSE, times(1.1, 3), ok=ok))
    for joint in found.joints:
        spoilt = joint.side is Side.LEFT
        np.testing.assert_array_equal(joint.ok, np.tile([[True], [not spoilt], [True]], 3))
        np.testing.assert_array_equal(np.isnan(joint.angle_rad), ~joint.ok)
        np.testing.assert_array_equal(np.isnan(joint.rate_rad_s), ~joint.ok)
        np.testing.assert_array_equal(np.isnan(joint.sd_rad), ~joint.ok)
    assert found.pelvis.ok.all()
    assert np.isfinite(found.pelvis.angle_rad).all()


def test_near_the_pole_the_joint_is_not_ok():
    stage = ready(body(segments=WORN), WORN)
    poses = moved(((Segment.LEFT_THIGH,), carry(DOWN, LEFT, 90)), segments=WORN)
    found = angles_of(stage, poses)
    assert not found.joint("hip", Side.LEFT).ok.any()
    assert np.isnan(found.joint("hip", Side.LEFT).angle_rad).all()
    assert found.joint("hip", Side.RIGHT).ok.all()


def test_first_half_and_restored_state_and_second_half_are_the_whole():
    """Over movements, zeroings and a sensor that is missing for a while."""
    worn = Wearer(body(), standing(), random_mounting(3), HEADING)

    def items():
        yield Asked(0.0, SetFit.of(true_fit(worn.mounting, ALL)))
        for k, pose in enumerate((standing(), standing(), ADDRESS, POSE, standing(), turned(ADDRESS, 70), POSE)):
            way, still = worn.moving(pose, 2.0 * k), pose is not POSE
            yield from (rows(way, slice(at, at + 7)) for at in range(0, len(way.t_s), 7))
            yield worn.stretch(pose, times(2.0 * k, 10), rest=still)
        ok = {Segment.LEFT_THIGH: np.arange(10) > 6}
        yield worn.stretch(POSE, times(19, 10), ok=ok)
        yield command("zero", 20.0)
        yield worn.moving(turned(POSE, 10), 21)
        yield worn.stretch(turned(POSE, 10), times(21, 10))

    listed = list(items())
    whole = body()
    expected = [out for item in listed for out in whole.feed(item)]
    assert [one.reason for one in expected if isinstance(one, Zeroed)] == ["stillness", "address", "address", "asked"]
    for cut in (0, 1, 2, 14, 29, 38, 43, 60, 77, len(listed) - 4, len(listed) - 2, len(listed)):
        first = body()
        found = [out for item in listed[:cut] for out in first.feed(item)]
        second = body()
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [out for item in listed[cut:] for out in second.feed(item)]
        assert same(found, expected)
