"""Reps stay inside what is published, and each flaw is what it says, for many players."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.golfer import TruthPose
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.swing import Flaw
from imufeedback.synth.truth import RepTruth, first_lasting

SEEDS = range(8)
BOTH_PACES = pytest.mark.parametrize("pace", list(Pace))
TRAIL, LEAD = Side.RIGHT, Side.LEFT


@cache
def scripts(pace: Pace, flaw: Flaw = Flaw.NONE) -> list[Script]:
    return [make_script(pace=pace, flaw=flaw, reps=2, seed=seed) for seed in SEEDS]


@cache
def reps(pace: Pace, flaw: Flaw = Flaw.NONE) -> list[tuple[RepTruth, TruthPose]]:
    """Truth and angles from the top to the finish, at 1001 instants, of many reps."""
    return [
        (rep, script.golfer.pose(np.linspace(rep.top_s, rep.finish_s, 1001), ()))
        for script in scripts(pace, flaw)
        for rep in script.truth.reps
    ]


def trail_thigh(pose) -> tuple[np.ndarray, np.ndarray]:
    """Degrees of turn after the top, degrees of trail thigh angle."""
    turn = np.degrees(pose.pelvis_rad[:, 0])
    return turn - turn[0], np.degrees(pose.hip_rad[TRAIL][:, 0])


def slope(pose) -> np.ndarray:
    """Degrees per degree, at the inner instants: where the turn stands still there is none."""
    return pose.hip_rate_rad_s[TRAIL][1:-1, 0] / pose.pelvis_rate_rad_s[1:-1, 0]


@BOTH_PACES
def test_turn_is_in_the_published_bands(pace: Pace) -> None:
    """Zheng et al., Int J Sports Med 2008;29:965-70, men: 42 ± 7 away at the top, 42 ± 12 open at impact."""
    for rep, pose in reps(pace):
        at_impact = np.interp(rep.impact_s, pose.t_s, np.degrees(pose.pelvis_rad[:, 0]))
        assert -49 <= np.degrees(pose.pelvis_rad[0, 0]) <= -35
        assert 30 <= at_impact <= 54


def test_full_pace_has_the_published_times() -> None:
    """Grober & Cholewicki, arXiv physics/0611291: 0.80 s and 0.27 s, ratio about 3."""
    for script in scripts(Pace.FULL):
        for rep in script.truth.reps:
            back, down = rep.top_s - rep.address_s, rep.impact_s - rep.top_s
            assert back == pytest.approx(0.80, rel=0.06)
            assert down == pytest.approx(0.27, rel=0.06)
            assert back / down == pytest.approx(3, abs=0.1)


def test_peak_turn_rate_of_a_full_swing_is_a_players() -> None:
    """Cheetham et al., Science & Golf V 2008 (from memory): amateurs 395 ± 53, professionals 477 ± 53 °/s."""
    peaks = [np.degrees(pose.pelvis_rate_rad_s[:, 0].max()) for _, pose in reps(Pace.FULL)]
    assert 395 <= np.median(peaks) <= 530
    assert min(peaks) >= 395 - 2 * 53
    assert max(peaks) <= 477 + 2 * 53


@BOTH_PACES
def test_the_turn_reverses_once(pace: Pace) -> None:
    for script, (rep, down) in zip(scripts(pace), reps(pace)[::2], strict=True):
        back = script.golfer.pose(np.linspace(rep.address_s, rep.top_s, 1001), ())
        assert (back.pelvis_rate_rad_s[1:-1, 0] < 0).all()
        assert (down.pelvis_rate_rad_s[1:-1, 0] > 0).all()
        assert abs(down.pelvis_rate_rad_s[0, 0]) < 1e-9


@pytest.mark.parametrize("flaw", list(Flaw))
def test_a_flaw_leaves_the_turn_as_it_is(flaw: Flaw) -> None:
    for (_, clean), (_, flawed) in zip(reps(Pace.SLOW), reps(Pace.SLOW, flaw), strict=True):
        np.testing.assert_array_equal(clean.pelvis_rad[:, 0], flawed.pelvis_rad[:, 0])


@BOTH_PACES
@pytest.mark.parametrize("flaw", [Flaw.NONE, Flaw.LEG_TURN])
def test_a_clean_trail_thigh_falls_without_a_break(pace: Pace, flaw: Flaw) -> None:
    for rep, pose in reps(pace, flaw):
        turn, thigh = trail_thigh(pose)
        due = (turn[1:-1] >= 5) & (np.minimum.accumulate(thigh)[1:-1] > 0)
        assert slope(pose)[due].max() <= -0.12
        assert (np.diff(thigh) < 1e-9).all()
        assert 20 <= thigh[0] <= 26
        assert thigh[np.searchsorted(turn, 90)] < 6, "about 2 shortly after impact"
        assert -8 <= thigh[-1] <= -4
        assert rep.stall_s is None


@BOTH_PACES
def test_hips_turn_in_and_out(pace: Pace) -> None:
    """Trail in then out, lead out then in, by most of the turn (directions: Dickenson et al., BJSM 2016;50:1081-6)."""
    for rep, pose in reps(pace):
        impact = np.searchsorted(pose.t_s, rep.impact_s)
        turn = np.degrees(pose.pelvis_rad[:, 0])
        for side, sign in ((TRAIL, -1), (LEAD, 1)):
            rotation = np.degrees(pose.hip_rad[side][:, 2])
            assert 0.78 <= sign * rotation[0] / turn[0] <= 0.92
            assert 0.78 <= sign * rotation[impact] / turn[impact] <= 0.92
            assert 38 <= sign * rotation[-1] <= 54


@BOTH_PACES
def test_knees_cross_about_half_way_down(pace: Pace) -> None:
    """Common practice, no source: the trail knee gains bend while the lead knee loses it."""
    for rep, pose in reps(pace):
        down = pose.t_s <= rep.impact_s
        gain = np.degrees(pose.knee_rad[TRAIL][down, 0] - pose.knee_rad[LEAD][down, 0])
        assert (np.diff(gain) > -1e-9).all()
        crossing = np.interp(0.0, gain, np.degrees(pose.pelvis_rad[down, 0]))
        assert -15 <= crossing <= 15


@BOTH_PACES
def test_level_is_where_the_side_tilt_crosses_zero(pace: Pace) -> None:
    for script in scripts(pace)[:5]:
        for rep in script.truth.reps:
            at = script.golfer.pose(np.array([rep.level_s - 1e-4, rep.level_s, rep.level_s + 1e-4]), ())
            tilt = at.pelvis_rad[:, 1]
            assert tilt[0] < 0 < tilt[2]
            assert abs(tilt[1]) < 1e-6
            assert abs(np.degrees(at.pelvis_rad[1, 0])) < 12, "about half way down"


@BOTH_PACES
def test_stall(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.STALL):
        turn, thigh = trail_thigh(pose)
        flat = turn[1:-1][(np.abs(slope(pose)) < 0.01) & (turn[1:-1] > 5)]
        assert flat[-1] - flat[0] >= 25
        impact = np.interp(rep.impact_s, pose.t_s, turn)
        assert 0.33 <= flat[0] / impact <= 0.55
        assert thigh.min() > 7
        assert thigh[-1] == pytest.approx(10, abs=4)
        assert rep.stall_s is not None
        assert flat[0] - 4 < np.interp(rep.stall_s, pose.t_s, turn) < flat[0]


@BOTH_PACES
def test_push_back(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.PUSH_BACK):
        turn, thigh = trail_thigh(pose)
        peak = np.argmax(thigh)
        assert thigh[peak] - thigh[0] >= 5
        assert 14 <= turn[peak] <= 20
        late = turn[1:-1] > 20
        assert slope(pose)[late].max() <= -0.12
        assert thigh[np.searchsorted(turn, 84)] > 8, "falls, but late"
        assert rep.stall_s == rep.top_s


def test_push_back_goes_backward_first() -> None:
    for script in scripts(Pace.SLOW, Flaw.PUSH_BACK)[:5]:
        rep = script.truth.reps[0]
        pose = script.golfer.pose(np.linspace(rep.top_s, rep.impact_s, 500))
        turn, _ = trail_thigh(pose)
        ahead = pose.frames[Segment.PELVIS].position_m[:, 0]
        early = np.searchsorted(turn, 17)
        assert ahead[early] - ahead[0] == pytest.approx(-0.03, abs=0.001)


@BOTH_PACES
def test_leg_turn(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.LEG_TURN):
        impact = np.searchsorted(pose.t_s, rep.impact_s)
        turned = pose.pelvis_rad[impact, 0] - pose.pelvis_rad[0, 0]
        for side in Side:
            share = abs(pose.hip_rad[side][impact, 2] - pose.hip_rad[side][0, 2]) / turned
            assert 0.14 <= share <= 0.20, "0.15, and the onset"


@BOTH_PACES
def test_high_knee(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.HIGH_KNEE):
        turn, thigh = trail_thigh(pose)
        assert thigh[0] - thigh[np.searchsorted(turn, 20)] == pytest.approx(3, abs=0.5)
        assert thigh.min() >= 15
        assert rep.stall_s is not None
        assert 10 <= np.interp(rep.stall_s, pose.t_s, turn) <= 17


@BOTH_PACES
def test_back_block(pace: Pace) -> None:
    """The legs turn along on the way back, the hips take up the turn on the way down."""
    for rep, pose in reps(pace, Flaw.BACK_BLOCK):
        impact = np.searchsorted(pose.t_s, rep.impact_s)
        turn = pose.pelvis_rad[:, 0]
        for side in Side:
            rotation = pose.hip_rad[side][:, 2]
            assert abs(rotation[0] / turn[0]) == pytest.approx(0.15, abs=0.001)
            assert abs(rotation[impact] - rotation[0]) / (turn[impact] - turn[0]) > 0.75


@BOTH_PACES
def test_late_level(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.LATE_LEVEL):
        turn = np.interp([rep.top_s, rep.level_s, rep.impact_s], pose.t_s, pose.pelvis_rad[:, 0])
        assert (turn[1] - turn[0]) / (turn[2] - turn[0]) > 0.9
        assert rep.stall_s is None


@BOTH_PACES
def test_sitting(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.SITTING):
        assert rep.stall_s is None, "the angle falls all the way"
        for side in Side:
            assert np.degrees(pose.hip_rad[side][-1, 0]) > 14


@BOTH_PACES
def test_stiff_knees_never_cross(pace: Pace) -> None:
    for _, pose in reps(pace, Flaw.STIFF_KNEES):
        assert (pose.knee_rad[TRAIL][:, 0] < pose.knee_rad[LEAD][:, 0]).all()


@BOTH_PACES
def test_knee_give(pace: Pace) -> None:
    """Bends again at impact, by a quarter of a degree for a degree of turn."""
    for rep, pose in reps(pace, Flaw.KNEE_GIVE):
        at = np.searchsorted(pose.t_s, rep.impact_s)
        bends = pose.knee_rate_rad_s[LEAD][at, 0] / pose.pelvis_rate_rad_s[at, 0]
        assert bends == pytest.approx(0.25, abs=0.01)


@pytest.mark.parametrize("flaw", [Flaw.STALL, Flaw.HIGH_KNEE])
def test_stall_instant_against_the_rates_of_the_pose(flaw: Flaw) -> None:
    """The slope by the pose's own rates: below -0.11 just before, above from then on for 4° of turn."""
    for script in scripts(Pace.SLOW, flaw):
        for rep in script.truth.reps:
            assert rep.stall_s is not None
            t = rep.stall_s + np.linspace(-0.05, 0.25, 601)
            pose = script.golfer.pose(t, ())
            ratio = pose.hip_rate_rad_s[TRAIL][:, 0] / pose.pelvis_rate_rad_s[:, 0]
            assert ratio[t < rep.stall_s - 0.001].max() < -0.11
            assert ratio[t > rep.stall_s + 0.001].min() > -0.11
            turn, thigh = trail_thigh(pose)
            assert turn[-1] - turn[t >= rep.stall_s][0] >= 4
            assert thigh.min() > 0


def test_both_paces_have_the_same_functions_of_turn() -> None:
    """So that one rule judges both: a player with equal amplitudes has equal angles at equal turn."""
    slow, full = (make_script(pace=pace, flaw=Flaw.STALL, reps=1, seed=4) for pace in (Pace.SLOW, Pace.FULL))
    curves = []
    for script in (slow, full):
        rep = script.truth.reps[0]
        pose = script.golfer.pose(np.linspace(rep.top_s, rep.finish_s, 20_001), ())
        turn = np.degrees(pose.pelvis_rad[:, 0])
        curves.append([np.interp(range(-30, 80), turn, np.degrees(pose.hip_rad[TRAIL][:, k])) for k in range(3)])
    np.testing.assert_allclose(curves[0], curves[1], atol=1e-4)


def test_a_left_hander_trails_with_the_left_side() -> None:
    script = make_script(hand=Hand.LEFT, flaw=Flaw.HIGH_KNEE, reps=1)
    pose = script.golfer.pose(np.array([script.truth.reps[0].finish_s]), ())
    assert np.degrees(pose.hip_rad[Side.LEFT][0, 0]) > 15
    assert np.degrees(pose.hip_rad[Side.RIGHT][0, 0]) < 10


@pytest.mark.parametrize(
    ("holds", "expected"),
    [
        ([0, 0, 0, 0, 0, 0], None),
        ([1, 1, 0, 0, 0, 0], None),
        ([0, 1, 1, 1, 0, 0], 1.0),
        ([1, 0, 0, 1, 1, 1], 3.0),
        ([1, 1, 1, 1, 1, 1], 0.0),
    ],
)
def test_only_what_lasts_over_four_degrees_counts(holds: list[int], expected: float | None) -> None:
    turn = np.radians(2.01 * np.arange(6))
    assert first_lasting(np.arange(6.0), turn, np.array(holds, dtype=bool)) == expected
