"""A session has its parts in order, is still where it says so, and is the same for the same seed."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.errors import UsageError
from imufeedback.measure import exact, swingers
from imufeedback.records import Hand, Rep, Segment, Side, Zeroed
from imufeedback.synth import between_reps
from imufeedback.synth.between_reps import Interlude
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.plan import STANDING, MotionPlan, hold
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_hip_turn_script, make_script


@pytest.fixture(scope="module", params=list(Hand))
def script(request: pytest.FixtureRequest) -> Script:
    return make_script(hand=request.param, pace=Pace.FULL, reps=3, seed=11)


def moving(script: Script, a: float, b: float) -> float:
    """Greatest angular rate of any segment, rad/s."""
    pose = script.golfer.pose(np.linspace(a, b, 500))
    return max(float(np.abs(frame.gyr_rad_s).max()) for frame in pose.frames.values())


def test_calibration_is_over_within_thirty_seconds(script: Script) -> None:
    assert script.ready_s < 30


def test_still_where_it_says_so(script: Script) -> None:
    a, b = script.fit_windows.still
    assert b - a >= 2.5
    assert moving(script, 0.0, 3.5) == 0
    assert moving(script, script.ready_s - 2, script.ready_s) == 0


def test_flexion_windows_hold_a_turn_about_z_only(script: Script) -> None:
    assert set(script.fit_windows.flex) == set(SEGMENTS)
    for segment, (a, b) in script.fit_windows.flex.items():
        gyr = script.golfer.pose(np.linspace(a, b, 1000)).frames[segment].gyr_rad_s
        assert np.abs(gyr[:, 2]).max() > 1.0
        np.testing.assert_allclose(gyr[:, :2], 0, atol=1e-12)


def test_calibration_goes_right_left_bow(script: Script) -> None:
    flex = script.fit_windows.flex
    assert flex[Segment.RIGHT_THIGH][1] < flex[Segment.LEFT_THIGH][0]
    assert flex[Segment.LEFT_THIGH][1] < flex[Segment.PELVIS][0]
    for side in Side:
        lifted = np.degrees(script.golfer.pose(np.linspace(*flex[Segment.thigh(side)], 2000)).hip_rad[side][:, 0])
        assert lifted.max() == pytest.approx(75)
        high = np.diff((lifted > 60).astype(int))
        assert (high == 1).sum() == 2, "twice"


def test_marks_are_in_order_and_reps_do_not_overlap(script: Script) -> None:
    before = script.ready_s
    for index, rep in enumerate(script.truth.reps):
        assert rep.index == index
        marks = [before, rep.start_s, rep.address_s, rep.top_s, rep.level_s, rep.impact_s, rep.finish_s]
        assert marks == sorted(set(marks))
        before = rep.finish_s
    assert script.duration_s > before + 1


def test_still_and_bent_at_address_and_still_at_the_finish(script: Script) -> None:
    for rep in script.truth.reps:
        assert rep.address_s - rep.start_s >= 1.5
        assert moving(script, rep.start_s, rep.address_s) < 1e-12
        assert moving(script, rep.finish_s + 1e-9, rep.finish_s + 1.0) < 1e-12
        pose = script.golfer.pose(np.array([rep.start_s]))
        np.testing.assert_allclose(pose.pelvis_rad[0, :2], 0, atol=1e-9)
        assert 8 < np.degrees(pose.pelvis_rad[0, 2]) < 21
        for side in Side:
            assert 20 < np.degrees(pose.hip_rad[side][0, 0]) < 35
            assert pose.hip_rad[side][0, 2] == pytest.approx(0, abs=1e-9)


def test_every_rep_begins_from_the_same_address(script: Script) -> None:
    pose = script.golfer.pose(np.array([rep.address_s for rep in script.truth.reps]))
    for segment in SEGMENTS:
        q = pose.frames[segment].rotation.as_quat(scalar_first=True)
        np.testing.assert_allclose(q, np.broadcast_to(q[0], q.shape), atol=1e-12)


def test_reps_differ_a_little(script: Script) -> None:
    turns = script.golfer.pose(np.array([rep.top_s for rep in script.truth.reps])).pelvis_rad[:, 0]
    assert 0 < np.ptp(np.degrees(turns)) < 3


def test_a_seed_is_one_session() -> None:
    a, b, c = (make_script(seed=seed) for seed in (3, 3, 4))
    assert a.truth == b.truth
    assert a.truth != c.truth
    t = np.linspace(0, a.duration_s, 300)
    np.testing.assert_array_equal(a.golfer.pose(t).hip_rad[Side.LEFT], b.golfer.pose(t).hip_rad[Side.LEFT])


def test_any_order_of_instants_gives_the_same(script: Script) -> None:
    t = np.linspace(-1, script.duration_s + 1, 777)
    mixed = np.random.default_rng(0).permutation(len(t))
    straight, shuffled = script.golfer.pose(t), script.golfer.pose(t[mixed])
    np.testing.assert_array_equal(straight.pelvis_rad[mixed], shuffled.pelvis_rad)
    assert not straight.pelvis_rad[[0, -1]].any(), "outside the session the player stands"


def test_each_rep_can_have_its_own_flaw() -> None:
    script = make_script(reps=3, flaw=[Flaw.NONE, Flaw.STALL, Flaw.NONE])
    assert [rep.flaw for rep in script.truth.reps] == [Flaw.NONE, Flaw.STALL, Flaw.NONE]
    assert [rep.stall_s is None for rep in script.truth.reps] == [True, False, True]


@pytest.mark.parametrize("arguments", [{"reps": -1}, {"reps": 2, "flaw": [Flaw.NONE]}])
def test_senseless_sessions_are_refused(arguments: dict) -> None:
    with pytest.raises(UsageError, match="flaws"):
        make_script(**arguments)


def test_pieces_must_follow_one_another() -> None:
    with pytest.raises(UsageError, match="next one begins at 3"):
        MotionPlan([hold(0.0, 1.0, STANDING), hold(3.0, 4.0, STANDING)])


def test_a_tempo_and_a_size_for_each_rep() -> None:
    plain = make_script(reps=3, seed=5)
    script = make_script(reps=3, seed=5, tempos=[1.0, 2.0, 0.5], sizes=[1.0, 1.0, 0.5])
    for one, other, times in zip(script.truth.reps, plain.truth.reps, [1.0, 0.5, 2.0], strict=True):
        assert one.top_s - one.address_s == pytest.approx(times * (other.top_s - other.address_s))
    whole, half = (
        np.degrees(one.golfer.pose(np.array([one.truth.reps[2].top_s]), ()).pelvis_rad[0, 0]) for one in (plain, script)
    )
    assert half == pytest.approx(0.5 * whole)


def test_another_number_of_tempos_than_of_reps() -> None:
    with pytest.raises(UsageError, match="tempos"):
        make_script(reps=2, tempos=[1.0])
    with pytest.raises(UsageError, match="sizes"):
        make_script(reps=2, sizes=[1.0, 0.0])


def test_hip_turns_go_there_and_back_over_still_thighs() -> None:
    script = make_hip_turn_script(turns_deg=[25.0], share=1.0)
    t = np.linspace(script.ready_s, script.duration_s, 801)
    pose = script.golfer.pose(t)
    assert np.degrees(pose.pelvis_rad[:, 0]).max() == pytest.approx(25)
    assert np.degrees(pose.hip_rad[Side.LEFT][:, 2]).max() == pytest.approx(25)
    for side in Side:
        frame = pose.frames[Segment.thigh(side)]
        assert np.degrees((frame.rotation[0].inv() * frame.rotation).magnitude()).max() < 1e-6


def test_a_body_that_is_alive_is_never_quite_still_and_is_taken_for_still() -> None:
    """Slower than the 3 °/s below which a pose is zeroed; millimetres and parts of a degree."""
    script = make_script(pace=Pace.FULL, reps=1, seed=3, alive=True)
    rep = script.truth.reps[0]
    for begin_s, end_s in ((rep.start_s, rep.address_s), (rep.finish_s, rep.finish_s + 1.2)):
        assert np.deg2rad(0.05) < moving(script, begin_s, end_s) < np.deg2rad(3)
        pose = script.golfer.pose(np.linspace(begin_s, end_s, 200))
        assert 1e-4 < np.ptp(pose.frames[Segment.PELVIS].position_m, axis=0).max() < 0.03


def test_feet_stay_while_the_body_sways() -> None:
    script = make_script(pace=Pace.FULL, reps=1, seed=3, alive=True)
    rep, body = script.truth.reps[0], script.golfer.player.body
    pose = script.golfer.pose(np.linspace(rep.start_s, rep.address_s, 200))
    for shank in (Segment.LEFT_SHANK, Segment.RIGHT_SHANK):
        ankle = pose.frames[shank].moved((0.0, -body.shank_m, 0.0)).position_m
        assert np.ptp(ankle, axis=0).max() < 0.0005


def test_an_alive_body_never_does_the_same_twice() -> None:
    """Another address for every rep, with both hips' rotation 0 there: rotation counts from the last address."""
    script = make_script(pace=Pace.SLOW, reps=4, seed=5, alive=True)
    pose = script.golfer.pose(np.array([rep.address_s for rep in script.truth.reps]), ())
    assert 0.3 < np.ptp(np.degrees(pose.pelvis_rad[:, 2])) < 5
    for side in Side:
        assert 0.3 < np.ptp(np.degrees(pose.hip_rad[side][:, 0])) < 6
        np.testing.assert_allclose(pose.hip_rad[side][:, 2], 0, atol=np.deg2rad(0.3))
    rates = []
    for rep in script.truth.reps:
        t = np.linspace(rep.address_s, rep.top_s, 101)
        back = script.golfer.pose(t, ()).pelvis_rate_rad_s[:, 0]
        assert back.max() < 1e-6, "uneven, but never the other way"
        rates.append(back[50] / back.mean())
    assert np.ptp(rates) > 0.1


@pytest.mark.parametrize("seed", range(6))
def test_alive_calibration_movements_are_what_is_asked_for(seed: int) -> None:
    """Right knee, left knee, bow; under a minute, and in no stretch of a third of a second quite still."""
    script = make_script(reps=0, seed=seed, alive=True)
    flex = script.fit_windows.flex
    assert flex[Segment.RIGHT_THIGH][1] < flex[Segment.LEFT_THIGH][0] < flex[Segment.PELVIS][0] < script.ready_s < 30
    for side in Side:
        lifted = np.degrees(script.golfer.pose(np.linspace(*flex[Segment.thigh(side)], 2000), ()).hip_rad[side][:, 0])
        assert lifted.max() > 40
    t = np.linspace(0.1, script.ready_s - 0.1, round(script.ready_s * 100))
    tilt = script.golfer.pose(t, ()).pelvis_rad[:, 2]
    assert np.lib.stride_tricks.sliding_window_view(tilt, 33).std(axis=1).min() > 1e-7


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_waggle_before_every_swing_counts_no_rep(monkeypatch: pytest.MonkeyPatch, seed: int) -> None:
    monkeypatch.setattr(between_reps, "WAGGLES", 1.0)
    script = make_script(pace=Pace.FULL if seed % 2 else Pace.SLOW, reps=3, seed=seed, alive=True)
    assert [one.kind for one in script.truth.busy] == [Interlude.WAGGLE] * 3
    motion = swingers.motion_of(script.hand)
    reps = []
    for rep, waggle in zip(script.truth.reps, script.truth.busy, strict=True):
        whole = exact.angles(script, np.arange(waggle.start_s * 200, (rep.finish_s + 1) * 200) / 200)
        assert np.ptp(np.degrees(whole.pelvis.angle_rad[whole.t_s < waggle.end_s, 0])) > 5
        told = [*motion.feed(Zeroed(float(whole.t_s[0]), "address")), *motion.feed(whole)]
        reps += [one for one in told if isinstance(one, Rep)]
    assert [one.void for one in reps] == [""] * 3
    for found, rep in zip(reps, script.truth.reps, strict=True):
        assert found.positions["top_s"] == pytest.approx(rep.top_s, abs=0.02)
