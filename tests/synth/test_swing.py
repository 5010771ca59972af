"""Reps stay inside what is published, and each flaw is what it says, for many players."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.flaws import Amiss, Flaw
from imufeedback.synth.golfer import TruthPose
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.swing import made_of
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
    """Event labels of 164 men (McNally et al. 2019, arXiv 1903.06528): back 0.83 ± 0.14 s, club down 0.250 ± 0.025 s,
    through 0.63 ± 0.12 s; the pelvis turns round some 0.035 s before the club (from memory)."""
    for script in scripts(Pace.FULL):
        for rep in script.truth.reps:
            assert rep.top_s - rep.address_s == pytest.approx(0.83, abs=0.14)
            assert rep.impact_s - rep.top_s == pytest.approx(0.285, abs=0.03)
            assert rep.finish_s - rep.impact_s == pytest.approx(0.63, abs=0.12)


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


@pytest.mark.parametrize("flaw", list(Flaw))
def test_legs_reach_the_ground_whatever_goes_wrong(flaw: Flaw) -> None:
    for script in scripts(Pace.FULL, flaw):
        assert all(made_of(swing.shape, swing.amiss).stands for swing in script.swings)


@pytest.mark.parametrize("flaw", [Flaw.NONE, Flaw.STALL, Flaw.LEG_TURN, Flaw.SITTING])
def test_the_lead_foot_stays_where_it_was_put(flaw: Flaw) -> None:
    """The ankle, found from pelvis, hip and knee: it stays at its height; the foot turns a little about its ball."""
    for script in scripts(Pace.FULL, flaw)[:3]:
        rep, body = script.truth.reps[0], script.golfer.player.body
        pose = script.golfer.pose(np.linspace(rep.address_s, rep.impact_s - 0.05, 200))
        ankle = pose.frames[Segment.LEFT_SHANK].moved((0.0, -body.shank_m, 0.0)).position_m
        assert np.ptp(ankle[:, 2]) < 1e-6
        assert np.ptp(ankle, axis=0).max() < 0.01


@BOTH_PACES
@pytest.mark.parametrize("flaw", [Flaw.NONE, Flaw.LEG_TURN])
def test_a_clean_trail_thigh_falls_without_a_break(pace: Pace, flaw: Flaw) -> None:
    """From twenty-odd degrees to 0 and below, as coaches describe it (common practice, no source)."""
    for rep, pose in reps(pace, flaw):
        turn, thigh = trail_thigh(pose)
        due = (turn[1:-1] >= 4) & (np.minimum.accumulate(thigh)[1:-1] > 0)
        assert slope(pose)[due].max() <= -0.11
        assert (thigh - np.minimum.accumulate(thigh)).max() < 0.15
        assert 22 <= thigh[0] <= 31
        assert thigh[-1] < 0
        assert rep.stall_s is None


@BOTH_PACES
def test_hips_turn_in_and_out(pace: Pace) -> None:
    """Trail in then out, lead out then in (directions: Dickenson et al., BJSM 2016;50:1081-6); excursions of the whole
    swing 50 and 40 on average (Bourgain et al., Sports 2022;10:91, read from a plot)."""
    ranges = []
    for script in scripts(pace):
        for rep in script.truth.reps:
            pose = script.golfer.pose(np.linspace(rep.address_s, rep.finish_s, 400), ())
            at_top = np.searchsorted(pose.t_s, rep.top_s)
            for side, sign in ((TRAIL, 1), (LEAD, -1)):
                rotation = sign * np.degrees(pose.hip_rad[side][:, 2])
                assert rotation[0] == pytest.approx(0, abs=1e-9)
                assert rotation[at_top] > 3
                assert rotation[-1] < -15
            ranges.append([np.ptp(np.degrees(pose.hip_rad[side][:, 2])) for side in (LEAD, TRAIL)])
    lead, trail = np.mean(ranges, axis=0)
    assert lead == pytest.approx(50, rel=0.2)
    assert trail == pytest.approx(40, rel=0.2)


def test_peak_rates_of_the_hips_are_in_the_published_spread() -> None:
    """Gulgin et al., J Sports Sci Med 2009;8:296-9 (numbers from memory): lead in 228 ± 97, trail out 145 ± 68 °/s."""
    peaks = np.array(
        [[np.degrees(sign * pose.hip_rate_rad_s[side][:, 2]).max() for side, sign in ((LEAD, 1), (TRAIL, -1))]
         for _, pose in reps(Pace.FULL)]
    )  # fmt: skip
    assert np.all(np.abs(peaks.mean(axis=0) - [228, 145]) < [97, 68])
    assert np.abs(peaks[:, 0] - peaks[:, 1]).min() > 0, "the sides are no mirrors"


@BOTH_PACES
def test_knees_cross_about_half_way_down(pace: Pace) -> None:
    """Common practice, no source: the trail knee gains bend while the lead knee loses it."""
    for rep, pose in reps(pace):
        down = pose.t_s <= rep.impact_s
        gain = np.degrees(pose.knee_rad[TRAIL][down, 0] - pose.knee_rad[LEAD][down, 0])
        turn = np.degrees(pose.pelvis_rad[down, 0])
        crossing = (turn[np.argmax(gain > 0)] - turn[0]) / (turn[-1] - turn[0])
        assert gain[0] < 0 < gain[-1]
        assert 0.3 <= crossing <= 0.75


@BOTH_PACES
def test_level_is_where_the_side_tilt_crosses_zero(pace: Pace) -> None:
    for script in scripts(pace)[:5]:
        for rep in script.truth.reps:
            at = script.golfer.pose(np.array([rep.level_s - 1e-4, rep.level_s, rep.level_s + 1e-4]), ())
            tilt = at.pelvis_rad[:, 1]
            assert tilt[0] < 0 < tilt[2]
            assert abs(tilt[1]) < 1e-6
            ends = script.golfer.pose(np.array([rep.top_s, rep.impact_s]), ()).pelvis_rad[:, 0]
            assert 0.3 < (at.pelvis_rad[1, 0] - ends[0]) / (ends[1] - ends[0]) < 0.7, "about half way down"


@BOTH_PACES
def test_stall(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.STALL):
        turn, thigh = trail_thigh(pose)
        assert rep.stall_s is not None
        at, impact = np.interp([rep.stall_s, rep.impact_s], pose.t_s, turn)
        assert 0.3 <= at / impact <= 0.55
        flat = (turn > at + 1) & (turn < at + 20)
        assert np.ptp(thigh[flat]) < 3, "stays for a good stretch"
        assert thigh.min() > 3, "and never comes down"


def test_a_stall_can_be_early_late_slight_or_in_part() -> None:
    made = [
        Amiss(Flaw.STALL, 1.0, 0.15),
        Amiss(Flaw.STALL, 1.0, 0.7),
        Amiss(Flaw.STALL, 0.6),
        Amiss(Flaw.STALL, 1.0, 0.3, 20.0),
    ]
    script = make_script(flaw=[[one] for one in made], reps=4, seed=2)
    assert [rep.amiss for rep in script.truth.reps] == [(one,) for one in made]
    at, least = [], []
    for rep in script.truth.reps:
        assert rep.stall_s is not None
        pose = script.golfer.pose(np.linspace(rep.top_s, rep.finish_s, 1001), ())
        turn, thigh = trail_thigh(pose)
        at.append(np.interp(rep.stall_s, pose.t_s, turn) / np.interp(rep.impact_s, pose.t_s, turn))
        least.append(thigh.min())
    assert at[0] < 0.2 < 0.5 < at[1]
    assert least[2] < least[0] - 4
    assert least[3] < 0 < least[0], "what is over comes down in the end"


def test_two_flaws_of_one_rep() -> None:
    both = (Amiss(Flaw.LEG_TURN), Amiss(Flaw.STALL))
    script = make_script(flaw=[both], reps=1, seed=5)
    (rep,) = script.truth.reps
    assert rep.amiss == both
    assert rep.flaw is Flaw.LEG_TURN
    assert rep.stall_s is not None
    ends = script.golfer.pose(np.array([rep.top_s, rep.impact_s]), ())
    share = np.diff(ends.hip_rad[LEAD][:, 2])[0] / np.diff(ends.pelvis_rad[:, 0])[0]
    assert share < 0.15


@BOTH_PACES
def test_push_back(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.PUSH_BACK):
        turn, thigh = trail_thigh(pose)
        peak = np.argmax(thigh)
        assert thigh[peak] - thigh[0] >= 2.5
        assert 12 <= turn[peak] <= 24
        assert thigh[-1] < 0, "falls, but late"
        assert rep.stall_s == rep.top_s


def test_push_back_goes_backward_first() -> None:
    for script in scripts(Pace.SLOW, Flaw.PUSH_BACK)[:5]:
        rep = script.truth.reps[0]
        pose = script.golfer.pose(np.linspace(rep.top_s, rep.impact_s, 500))
        ahead = pose.frames[Segment.PELVIS].position_m[:, 0]
        assert ahead.min() - ahead[0] < -0.02


@BOTH_PACES
def test_leg_turn(pace: Pace) -> None:
    for (rep, pose), (_, clean) in zip(reps(pace, Flaw.LEG_TURN), reps(pace), strict=True):
        impact = np.searchsorted(pose.t_s, rep.impact_s)
        turned = pose.pelvis_rad[impact, 0] - pose.pelvis_rad[0, 0]
        turns = [
            one.hip_rad[LEAD][[0, impact], 2] - one.hip_rad[TRAIL][[0, impact], 2] for one in (pose, clean)
        ]  # fmt: skip
        share, usual = (np.diff(one)[0] / 2 / turned for one in turns)
        assert share < 0.1 < usual
        np.testing.assert_allclose(pose.knee_rad[LEAD], clean.knee_rad[LEAD], atol=0.02)


@BOTH_PACES
def test_high_knee(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.HIGH_KNEE):
        turn, thigh = trail_thigh(pose)
        half = np.searchsorted(turn, 45)
        assert abs(thigh[half] - thigh[0]) < 5, "has not fallen half way down"
        assert np.degrees(pose.knee_rad[TRAIL][half, 0]) > 30
        assert thigh.min() > 3
        assert rep.stall_s is not None
        assert np.interp(rep.stall_s, pose.t_s, turn) <= 17


@BOTH_PACES
def test_back_block(pace: Pace) -> None:
    """The legs turn along on the way back, the hips take up as much as ever on the way down."""
    for (rep, pose), (_, clean) in zip(reps(pace, Flaw.BACK_BLOCK), reps(pace), strict=True):
        impact = np.searchsorted(pose.t_s, rep.impact_s)
        for side in Side:
            at_top, usual = (one.hip_rad[side][0, 2] for one in (pose, clean))
            assert abs(at_top) < 0.55 * abs(usual)
            made, as_usual = (one.hip_rad[side][impact, 2] - one.hip_rad[side][0, 2] for one in (pose, clean))
            assert made == pytest.approx(as_usual, abs=np.deg2rad(6))


@BOTH_PACES
def test_late_level(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.LATE_LEVEL):
        turn = np.interp([rep.top_s, rep.level_s, rep.impact_s], pose.t_s, pose.pelvis_rad[:, 0])
        assert (turn[1] - turn[0]) / (turn[2] - turn[0]) > 0.75


@BOTH_PACES
def test_sitting(pace: Pace) -> None:
    for (_, pose), (_, clean) in zip(reps(pace, Flaw.SITTING), reps(pace), strict=True):
        for side in Side:
            assert np.degrees(pose.hip_rad[side][-1, 0]) > 10
        lost = pose.hip_rad[TRAIL][0, 0] - pose.hip_rad[TRAIL][-1, 0]
        assert np.degrees(lost) > 25, "the angle falls all the way"
        assert pose.knee_rad[LEAD][-1, 0] > clean.knee_rad[LEAD][-1, 0] + np.deg2rad(10)


@BOTH_PACES
def test_stiff_knees_never_cross(pace: Pace) -> None:
    for rep, pose in reps(pace, Flaw.STIFF_KNEES):
        down = pose.t_s < rep.impact_s
        assert (pose.knee_rad[TRAIL][down, 0] < pose.knee_rad[LEAD][down, 0]).all()


@BOTH_PACES
def test_knee_give(pace: Pace) -> None:
    """The lead knee is straight before impact and bends again through it."""
    for rep, pose in reps(pace, Flaw.KNEE_GIVE):
        knee, impact = np.degrees(pose.knee_rad[LEAD][:, 0]), np.searchsorted(pose.t_s, rep.impact_s)
        before = knee[:impact].min()
        assert knee[impact:].max() > before + 3


@pytest.mark.parametrize("flaw", [Flaw.STALL, Flaw.HIGH_KNEE])
def test_stall_instant_against_the_rates_of_the_pose(flaw: Flaw) -> None:
    """The slope by the pose's own rates: above -0.11 from then on for 4° of turn, and not for so long before."""
    for script in scripts(Pace.SLOW, flaw):
        for rep in script.truth.reps:
            assert rep.stall_s is not None
            pose = script.golfer.pose(np.linspace(rep.stall_s + 0.001, rep.finish_s - 0.01, 4001), ())
            ratio = pose.hip_rate_rad_s[TRAIL][:, 0] / pose.pelvis_rate_rad_s[:, 0]
            turn, thigh = trail_thigh(pose)
            assert ratio[turn < 4].min() > -0.11
            assert thigh[0] > 0


def test_both_paces_have_the_same_functions_of_turn() -> None:
    """So that one rule judges both: a player with equal amplitudes has equal angles at equal turn (the smoothing of the
    turn moves the top by a hundredth of a degree)."""
    slow, full = (make_script(pace=pace, flaw=Flaw.STALL, reps=1, seed=4) for pace in (Pace.SLOW, Pace.FULL))
    curves = []
    for script in (slow, full):
        rep = script.truth.reps[0]
        pose = script.golfer.pose(np.linspace(rep.top_s, rep.finish_s, 20_001), ())
        turn = np.degrees(pose.pelvis_rad[:, 0])
        curves.append([np.interp(range(-30, 80), turn, np.degrees(pose.hip_rad[TRAIL][:, k])) for k in range(3)])
    np.testing.assert_allclose(curves[0], curves[1], atol=0.01)


def test_a_left_hander_trails_with_the_left_side() -> None:
    script = make_script(hand=Hand.LEFT, flaw=Flaw.LEG_TURN, reps=1)
    pose = script.golfer.pose(np.array([script.truth.reps[0].finish_s]), ())
    assert np.degrees(pose.hip_rad[Side.LEFT][0, 0]) < 0
    assert np.degrees(pose.hip_rad[Side.RIGHT][0, 0]) > 0


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


@pytest.mark.parametrize("seed", [81, 88])
def test_hips_that_are_level_at_the_top_or_never_have_a_truth(seed: int) -> None:
    (truth,) = make_script(pace=Pace.FULL, flaw=Flaw.STIFF_KNEES, reps=1, seed=seed).truth.reps
    assert truth.top_s <= truth.level_s <= truth.finish_s
