"""The golfer's signs, and that orientation, rates, positions and angles are of one motion."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import BODY, SEGMENTS, Golfer
from imufeedback.synth.kinematics import EARTH_FROM_Y_UP
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, hold, leg
from imufeedback.synth.player import Pace, make_player
from imufeedback.synth.script import Script, make_script

BOTH_HANDS = pytest.mark.parametrize("hand", list(Hand))
AHEAD, LEFT, UP = np.eye(3)


def held(hand: Hand, **channels: float):
    posture = {Channel(name): value for name, value in channels.items()}
    return Golfer(make_player(hand, Pace.SLOW, 1), MotionPlan([hold(0.0, 1.0, posture)])).pose(np.array([0.5]))


def axes(pose, segment: Segment) -> np.ndarray:
    """(3, 3) columns: the segment's x, y, z in the earth."""
    return pose.frames[segment].rotation.as_matrix()[0]


def target(hand: Hand) -> np.ndarray:
    """A player who faces ahead has the target on the lead side."""
    return LEFT if hand.lead is Side.LEFT else -LEFT


@pytest.fixture(scope="module", params=list(Pace))
def swing_script(request: pytest.FixtureRequest) -> Script:
    return make_script(pace=request.param, reps=1, seed=7)


@pytest.fixture(scope="module")
def whole() -> tuple[Script, np.ndarray]:
    script = make_script(pace=Pace.FULL, reps=1, seed=5, flaw=Flaw.PUSH_BACK)
    return script, np.arange(0.0, script.duration_s, 0.001)


@BOTH_HANDS
def test_quiet_standing_is_all_zero(hand: Hand) -> None:
    pose = Golfer(make_player(hand, Pace.SLOW, 1), MotionPlan([hold(0.0, 1.0, STANDING)])).pose(np.array([0.5]))
    for segment in SEGMENTS:
        np.testing.assert_allclose(axes(pose, segment), EARTH_FROM_Y_UP, atol=1e-15)
    assert not pose.pelvis_rad.any()
    assert not any(pose.hip_rad[side].any() or pose.knee_rad[side].any() for side in Side)


@BOTH_HANDS
def test_turn_is_towards_the_target(hand: Hand) -> None:
    faces = axes(held(hand, turn=0.3), Segment.PELVIS)[:, 0]
    assert faces @ target(hand) == pytest.approx(np.sin(0.3))
    assert faces @ AHEAD == pytest.approx(np.cos(0.3))


@BOTH_HANDS
def test_side_tilt_is_lead_side_up(hand: Hand) -> None:
    right = axes(held(hand, side_tilt=0.2), Segment.PELVIS)[:, 2]
    lead = right if hand.lead is Side.RIGHT else -right
    assert lead @ UP == pytest.approx(np.sin(0.2))


@BOTH_HANDS
def test_forward_tilt_tips_forward(hand: Hand) -> None:
    up = axes(held(hand, forward_tilt=0.3), Segment.PELVIS)[:, 1]
    assert up @ AHEAD == pytest.approx(np.sin(0.3))


@BOTH_HANDS
@pytest.mark.parametrize("side", list(Side))
def test_hip_angles_are_positive_as_named_on_both_sides(hand: Hand, side: Side) -> None:
    outward = LEFT if side is Side.LEFT else -LEFT
    flexion, adduction, rotation, knee = leg(side, hand)
    down = -axes(held(hand, **{flexion: 0.4}), Segment.thigh(side))[:, 1]
    assert down @ AHEAD == pytest.approx(np.sin(0.4)), "flexion brings the thigh forward"
    down = -axes(held(hand, **{adduction: 0.2}), Segment.thigh(side))[:, 1]
    assert down @ outward == pytest.approx(-np.sin(0.2)), "adduction brings it to the midline"
    front = axes(held(hand, **{rotation: 0.3}), Segment.thigh(side))[:, 0]
    assert front @ outward == pytest.approx(-np.sin(0.3)), "internal rotation turns its front to the midline"
    down = -axes(held(hand, **{knee: 0.5}), Segment.shank(side))[:, 1]
    assert down @ AHEAD == pytest.approx(-np.sin(0.5)), "knee flexion brings the shank back"


@BOTH_HANDS
@pytest.mark.parametrize("channel", ["sway", "depth", "height"])
def test_the_pelvis_moves_as_named(hand: Hand, channel: str) -> None:
    direction = {"sway": target(hand), "depth": AHEAD, "height": UP}[channel]
    moved = (
        held(hand, **{channel: 0.1}).frames[Segment.PELVIS].position_m - held(hand).frames[Segment.PELVIS].position_m
    )
    np.testing.assert_allclose(moved[0], 0.1 * direction, atol=1e-15)


@BOTH_HANDS
def test_a_bow_leaves_the_thighs_upright(hand: Hand) -> None:
    script = make_script(hand=hand, reps=0, seed=3)
    a, b = script.fit_windows.flex[Segment.PELVIS]
    pose = script.golfer.pose(np.linspace(a, b, 200))
    up = pose.frames[Segment.LEFT_THIGH].rotation.as_matrix()[:, :, 1]
    np.testing.assert_allclose(up, np.broadcast_to(UP, up.shape), atol=1e-12)
    assert np.degrees(pose.hip_rad[Side.LEFT][:, 0].max()) == pytest.approx(45, abs=0.1)


def product(steps: Rotation) -> Rotation:
    """All of 2ⁿ rotations one after the other."""
    while len(steps) > 1:
        steps = steps[0::2] * steps[1::2]
    return steps[0]


@pytest.mark.parametrize("segment", BODY)
def test_gyroscope_integrates_back_to_the_orientation(whole: tuple[Script, np.ndarray], segment: Segment) -> None:
    """scipy's Rotation, with the rate in the middle of every 1 ms step, from the first instant to the last."""
    script, t = whole
    truth = script.golfer.pose(t, (segment,)).frames[segment].rotation
    middle = script.golfer.pose(t + 0.0005, (segment,)).frames[segment]
    steps = Rotation.from_rotvec(middle.gyr_rad_s * 0.001)
    now, errors = truth[0], []
    for k in range(0, len(t) - 256, 256):
        now = now * product(steps[k : k + 256])
        errors.append((now.inv() * truth[k + 256]).magnitude())
    assert np.degrees(max(errors)) < 0.01


@pytest.mark.parametrize("segment", SEGMENTS)
def test_acceleration_is_the_second_derivative_of_position(whole: tuple[Script, np.ndarray], segment: Segment) -> None:
    script, t = whole
    h, r = 2e-5, (0.05, -0.2, 0.08)
    now, before, after = (script.golfer.pose(t + d, (segment,)).frames[segment].moved(r) for d in (0.0, -h, h))
    # Third derivatives jump at knots, and there a central difference is off by a quarter of jump times step.
    second = (before.position_m - 2 * now.position_m + after.position_m) / h**2
    assert np.abs(now.acceleration_m_s2 - second).max() < 0.05
    assert np.sqrt(np.mean((now.acceleration_m_s2 - second) ** 2)) < 5e-4
    angular = (after.gyr_rad_s - before.gyr_rad_s) / (2 * h)
    assert np.abs(now.gyr_rate_rad_s2 - angular).max() < 0.3
    assert np.sqrt(np.mean((now.gyr_rate_rad_s2 - angular) ** 2)) < 2e-3


def test_nothing_jumps_between_the_pieces(whole: tuple[Script, np.ndarray]) -> None:
    script, _ = whole
    borders = np.array([piece.start_s for piece in script.golfer.plan.pieces[1:]])
    before, after = script.golfer.pose(borders - 1e-9, BODY), script.golfer.pose(borders + 1e-9, BODY)
    for segment in BODY:
        a, b = before.frames[segment], after.frames[segment]
        np.testing.assert_allclose(a.rotation.as_quat(), b.rotation.as_quat(), atol=1e-7)
        np.testing.assert_allclose(a.gyr_rate_rad_s2, b.gyr_rate_rad_s2, atol=1e-3)
        np.testing.assert_allclose(a.acceleration_m_s2, b.acceleration_m_s2, atol=1e-3)


@BOTH_HANDS
def test_angles_are_those_of_the_orientations(hand: Hand) -> None:
    """Hip and knee by scipy's intrinsic 'ZXY' (Grood & Suntay 1983; Wu et al. 2002), pelvis by 'YXZ' (Baker 2001)."""
    script = make_script(hand=hand, pace=Pace.FULL, reps=1, seed=2, flaw=Flaw.STALL)
    pose = script.golfer.pose(np.arange(0.0, script.duration_s, 0.01))
    pelvis = pose.frames[Segment.PELVIS].rotation
    yaw, obliquity, tilt = (Rotation.from_matrix(EARTH_FROM_Y_UP).inv() * pelvis).as_euler("YXZ").T
    sign = 1 if hand is Hand.RIGHT else -1
    np.testing.assert_allclose(pose.pelvis_rad, np.stack([sign * yaw, sign * obliquity, -tilt], 1), atol=1e-9)
    for side in Side:
        mirror = np.array([1, 1, 1]) if side is Side.RIGHT else np.array([1, -1, -1])
        thigh = pose.frames[Segment.thigh(side)].rotation
        np.testing.assert_allclose(pose.hip_rad[side], (pelvis.inv() * thigh).as_euler("ZXY") * mirror, atol=1e-9)
        shank = (thigh.inv() * pose.frames[Segment.shank(side)].rotation).as_euler("ZXY")
        np.testing.assert_allclose(pose.knee_rad[side], shank * [-1, 0, 0], atol=1e-9)
        np.testing.assert_allclose(shank[:, 1:], 0, atol=1e-9)


def test_rates_are_those_of_the_angles(swing_script: Script) -> None:
    rep, h = swing_script.truth.reps[0], 1e-5
    t = np.linspace(rep.start_s, rep.finish_s, 500)
    before, now, after = (swing_script.golfer.pose(t + d) for d in (-h, 0.0, h))
    np.testing.assert_allclose(now.pelvis_rate_rad_s, (after.pelvis_rad - before.pelvis_rad) / (2 * h), atol=1e-4)
    for side in Side:
        difference = (after.hip_rad[side] - before.hip_rad[side]) / (2 * h)
        np.testing.assert_allclose(now.hip_rate_rad_s[side], difference, atol=1e-4)


@pytest.mark.parametrize("flaw", list(Flaw))
def test_a_left_hander_is_the_mirror_image(flaw: Flaw) -> None:
    """Mirrored in the plane of ahead and up: y of the earth and z of the segments change sign, and sides swap."""
    right = make_script(pace=Pace.FULL, flaw=flaw, reps=2, seed=9)
    left = make_script(hand=Hand.LEFT, pace=Pace.FULL, flaw=flaw, reps=2, seed=9)
    assert right.truth == left.truth
    t = np.arange(right.ready_s, right.duration_s, 0.01)
    one, other = right.golfer.pose(t, BODY), left.golfer.pose(t, BODY)
    swapped = {Segment.PELVIS: Segment.PELVIS, Segment.LEAD_FOREARM: Segment.LEAD_FOREARM}
    for side in Side:
        swapped |= {Segment.thigh(side): Segment.thigh(side.other), Segment.shank(side): Segment.shank(side.other)}
    earth, body = np.diag([1.0, -1.0, 1.0]), np.diag([1.0, 1.0, -1.0])
    for segment, twin in swapped.items():
        a, b = one.frames[segment], other.frames[twin]
        np.testing.assert_allclose(b.rotation.as_matrix(), earth @ a.rotation.as_matrix() @ body, atol=1e-12)
        np.testing.assert_allclose(b.acceleration_m_s2, a.acceleration_m_s2 @ earth, atol=1e-9)
        np.testing.assert_allclose(b.gyr_rad_s, a.gyr_rad_s * [-1, -1, 1], atol=1e-12)  # an axial vector
    np.testing.assert_array_equal(one.pelvis_rad, other.pelvis_rad)
    np.testing.assert_array_equal(one.hip_rad[Side.RIGHT], other.hip_rad[Side.LEFT])


def test_a_part_of_the_segments_is_the_same_part_of_all(swing_script: Script) -> None:
    t = np.array([20.0, 22.0])
    some = swing_script.golfer.pose(t, (Segment.LEFT_SHANK,))
    assert list(some.frames) == [Segment.LEFT_SHANK]
    one, same_one = (pose.frames[Segment.LEFT_SHANK].rotation for pose in (some, swing_script.golfer.pose(t)))
    np.testing.assert_array_equal(one.as_quat(), same_one.as_quat())


def test_the_forearm_swings_as_one_does_and_is_struck() -> None:
    """Common practice: the hands are above the shoulder at the top; arms turn at some 1000 °/s."""
    script = make_script(pace=Pace.FULL, reps=1, seed=2)
    rep = script.truth.reps[0]
    pose = script.golfer.pose(np.linspace(rep.top_s, rep.finish_s, 4001), (Segment.LEAD_FOREARM,))
    arm = pose.frames[Segment.LEAD_FOREARM]
    wrist = arm.moved((0.0, -script.golfer.player.body.forearm_m, 0.0))
    rate = np.degrees(np.linalg.norm(arm.gyr_rad_s, axis=1))
    assert wrist.position_m[0, 2] > wrist.position_m[np.searchsorted(pose.t_s, rep.impact_s), 2] + 0.3
    assert 500 < rate.max() < 2000
    force = np.linalg.norm(wrist.specific_force(9.8), axis=1) / 9.8
    assert force.max() < 20
    after = pose.t_s - rep.impact_s
    jerk = np.abs(np.gradient(force, pose.t_s))
    struck = (after > 0) & (after < 0.02)
    assert jerk[struck].max() > 5 * jerk[after < -0.001].max(), "a shock at the hit, not before"
    assert jerk[struck].max() > 5 * jerk[after > 0.1].max()


def test_a_slow_rehearsal_strikes_nothing() -> None:
    script = make_script(pace=Pace.SLOW, reps=1, seed=2)
    impact = script.truth.reps[0].impact_s
    pose = script.golfer.pose(np.linspace(impact - 0.05, impact + 0.05, 500), (Segment.LEAD_FOREARM,))
    assert np.ptp(np.linalg.norm(pose.frames[Segment.LEAD_FOREARM].specific_force(9.8), axis=1)) < 0.5


def test_stature_scales_the_lengths_and_nothing_else() -> None:
    short, tall = (make_script(reps=1, seed=3, height_m=height) for height in (1.5, 1.8))
    t = np.linspace(19.0, 29.0, 50)
    a, b = short.golfer.pose(t), tall.golfer.pose(t)
    np.testing.assert_array_equal(a.hip_rad[Side.LEFT], b.hip_rad[Side.LEFT])
    assert tall.golfer.player.body.thigh_m == pytest.approx(0.245 * 1.8, rel=0.01)
    assert tall.golfer.player.body.hip_height_m / short.golfer.player.body.hip_height_m == pytest.approx(1.2)


def test_tempo_makes_every_part_quicker() -> None:
    usual, quick = (make_script(pace=Pace.FULL, reps=1, seed=3, tempo=tempo) for tempo in (1.0, 1.25))
    for begin, end in (("address_s", "top_s"), ("top_s", "impact_s"), ("impact_s", "finish_s")):
        times = [getattr(one.truth.reps[0], end) - getattr(one.truth.reps[0], begin) for one in (usual, quick)]
        assert times[0] / times[1] == pytest.approx(1.25)


@pytest.mark.parametrize("arguments", [{"tempo": 0.0}, {"height_m": -1.7}])
def test_an_impossible_player_is_refused(arguments: dict[str, float]) -> None:
    with pytest.raises(UsageError, match="above 0"):
        make_player(Hand.RIGHT, Pace.FULL, 1, **arguments)
