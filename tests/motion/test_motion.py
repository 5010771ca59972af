"""The motion stage over whole reps: what is found, what is not, and that it is the same for both hands."""

from __future__ import annotations

import math
import pickle
from dataclasses import replace

import numpy as np
import pytest
from swings import FALLING, SWING, Course, address, angles, course, cut, part, ramp, slowed

from imufeedback.motion import LiveLimits, MotionStage, RepLimits
from imufeedback.records import Angles, Hand, Motion, Notice, Phase, PhaseChanged, Rep, StateChanged, Zeroed, same

LIMITS = LiveLimits(
    min_slope=0.06, dead_turn_rad=math.radians(3), dead_s=0.05, target_rad=math.radians(2), grow_rad=math.radians(1)
)
STALLING = ramp((-42, 23), (-8, 15), (32, 15), (85, 5))


def stage(hand: Hand = Hand.RIGHT, **rep: float) -> MotionStage:
    return MotionStage(hand=hand, live=LIMITS, rep=RepLimits(**rep), kind="swing")


def fed(one: MotionStage, *items) -> list:
    out = []
    for item in items:
        for piece in cut(item, 4) if isinstance(item, Angles) else [item]:
            out += one.feed(piece)
    return out


def phases(out: list) -> list[Phase]:
    return [one.phase for one in out if isinstance(one, PhaseChanged)]


def states(out: list) -> list[Motion]:
    return [one.state for one in out if isinstance(one, StateChanged)]


def reps(out: list) -> list[Rep]:
    return [one for one in out if isinstance(one, Rep)]


def swing(points=SWING, *, begin_s: float = 0.0, **kwargs) -> Angles:
    return angles(course(points, begin_s=begin_s), **kwargs)


WHOLE = [Phase.ADDRESS, Phase.BACKSWING, Phase.DOWNSWING, Phase.THROUGH_SWING, Phase.FINISH, Phase.WAITING]


# ── a rep ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("factor", [1.0, 2.0, 4.0])
def test_a_good_swing(factor):
    out = fed(stage(), address(), swing(slowed(SWING, factor)))
    assert phases(out) == WHOLE
    assert states(out) == [Motion.FALLING, Motion.IDLE]
    (rep,) = reps(out)
    assert (rep.index, rep.kind) == (0, "swing")
    assert rep.positions["top_s"] == pytest.approx(1.5 * factor, abs=0.01)
    assert rep.end_s == rep.positions["finish_s"] == pytest.approx(2.5 * factor, abs=0.12 * factor)
    assert rep.start_s == rep.positions["address_s"] == pytest.approx(0.5 * factor, abs=0.06 * factor)
    assert "trail_thigh_first_stall_s" not in rep.features
    assert rep.features["trail_thigh_flat_turn_deg"] < 3


def test_a_stall_is_told_when_it_happens_and_dated_back():
    out = fed(stage(), address(), swing(slowed(SWING, 3), thigh=STALLING))
    assert states(out) == [Motion.FALLING, Motion.STALLED, Motion.FALLING, Motion.IDLE]
    stalled = next(one for one in out if isinstance(one, StateChanged) and one.state is Motion.STALLED)
    assert math.degrees(stalled.turn_rad) == pytest.approx(-5, abs=1)
    assert math.degrees(stalled.thigh_angle_rad) == pytest.approx(15, abs=0.1)
    assert 0.04 < stalled.t_s - stalled.onset_s < 0.4
    (rep,) = reps(out)
    assert rep.features["trail_thigh_first_stall_s"] == pytest.approx(stalled.onset_s, abs=0.02)
    assert rep.features["trail_thigh_first_stall_turn_deg"] == pytest.approx(-8, abs=1)
    assert rep.features["trail_thigh_first_stall_angle_deg"] == pytest.approx(15, abs=0.1)
    assert rep.features["trail_thigh_flat_turn_deg"] == pytest.approx(40, abs=1.5)


def test_growth_from_the_top_on():
    out = fed(stage(), address(), swing(slowed(SWING, 3), thigh=ramp((-42, 23), (-28, 29), (85, 2.5))))
    assert states(out)[:2] == [Motion.GROWING, Motion.FALLING]
    (rep,) = reps(out)
    assert rep.features["trail_thigh_growth_deg"] == pytest.approx(6, abs=0.2)
    assert rep.features["trail_thigh_growth_from_s"] == pytest.approx(rep.positions["top_s"], abs=0.05)


def test_states_belong_to_the_downswing_only():
    """In the backswing the angle may do what it likes."""
    out = fed(stage(), address(), swing(slowed(SWING, 3), back_thigh=ramp((-42, 23), (-20, 40), (0, 30))))
    first = next(one for one in out if isinstance(one, StateChanged))
    assert first.t_s > 4.5
    assert states(out) == [Motion.FALLING, Motion.IDLE]


THROUGH = [(0, 0), (0.5, 0), (2.5, 80), (3.5, 80)]


def test_a_rep_without_a_backswing_where_the_drill_allows_it():
    falling = ramp((0, 24), (80, -4))
    out = fed(stage(min_backswing_rad=0.0), address(), swing(THROUGH, thigh=falling, top_s=-1.0))
    assert phases(out) == [Phase.ADDRESS, Phase.DOWNSWING, Phase.THROUGH_SWING, Phase.FINISH, Phase.WAITING]
    (rep,) = reps(out)
    assert rep.positions["top_s"] == pytest.approx(0.5, abs=0.35)  # the turn sets off slowly
    assert rep.features["trail_thigh_loss_top_finish_deg"] == pytest.approx(28, abs=1)
    assert not reps(fed(stage(), address(), swing(THROUGH, thigh=falling, top_s=-1.0)))


def test_a_look_at_the_target_is_no_rep_without_a_backswing():
    points = [(0, 0), (0.5, 0), (1.2, 14), (1.8, 14), (2.5, 0), (3.5, 0)]
    out = fed(stage(min_backswing_rad=0.0), address(), swing(points, thigh=ramp((0, 30), (20, 30)), top_s=-1.0))
    assert not reps(out)


@pytest.mark.parametrize("points", [[(0, 0), (0.5, 0), (1.5, -24), (1.8, -24), (2.8, 0), (4.0, 0)]])
def test_a_backswing_that_is_given_up_leads_home(points):
    out = fed(stage(), address(), swing(points))
    assert not reps(out)
    assert phases(out)[-1] is Phase.ADDRESS


def test_standing_up_from_the_address_ends_it():
    """Both thighs straighten; what follows, here a turn of the whole body, is no backswing."""
    points = [(0, 0), (0.5, 0), (2.5, -100), (4.5, 0), (6.0, 0)]
    up = ramp((-100, 0), (-10, 10), (-3, 30), (0, 30))
    out = fed(stage(), address(), swing(points, thigh=up, back_thigh=up, lead_thigh=up))
    assert phases(out)[-1] is Phase.WAITING
    assert not reps(out)


def test_a_zero_at_a_new_address_ends_a_downswing_that_never_ended():
    one = stage()
    fed(one, address(), swing([(0, 0), (0.5, 0), (1.5, -30), (2.5, -15), (3.0, -15)]))
    out = fed(one, address(3.0), swing(begin_s=3.0))
    assert phases(out)[0] is Phase.ADDRESS
    assert len(reps(out)) == 1


@pytest.mark.parametrize("factor", [0.5, 1.0, 3.0, 6.0])
def test_numbers_that_rules_look_at_do_not_depend_on_the_tempo(factor):
    def at(times: float) -> Rep:
        (rep,) = reps(fed(stage(), address(), swing(slowed(SWING, times), thigh=STALLING)))
        return rep

    one, other = at(factor).features, at(2.0).features
    for name in ("trail_thigh_flat_turn_deg", "own_axis_share", "lead_hip_turn_in_deg", "level_turn_share"):
        assert one[name] == pytest.approx(other[name], abs=1.1), name


def test_reps_are_counted():
    one = stage()
    found = []
    for k in range(3):
        found += reps(fed(one, address(10.0 * k), swing(begin_s=10.0 * k)))
    assert [rep.index for rep in found] == [0, 1, 2]
    assert found[2].positions["top_s"] - found[0].positions["top_s"] == pytest.approx(20.0, abs=1e-6)
    for name, value in found[0].features.items():
        if not name.endswith("_from_s"):
            assert found[2].features[name] == pytest.approx(value, abs=1e-6), name


def test_a_swing_after_a_zero_at_address_only():
    assert fed(stage(), swing()) == []
    assert fed(stage(), Zeroed(0.0, "stillness"), swing()) == []
    assert fed(stage(), Zeroed(0.0, "asked"), swing()) == []


def test_a_zero_during_a_swing_is_not_a_new_address():
    one = stage()
    whole = swing()
    out = fed(one, address(), part(whole, slice(0, 250)), address(1.25), part(whole, slice(250, None)))
    assert phases(out) == WHOLE


def test_little_more_than_a_second_of_address_is_remembered():
    """A minute at address is no minute of memory."""
    one = stage()
    fed(one, address(), swing([(0, 0), (60, 0)]))
    assert sum(len(rows) for rows in one.state.parts) <= 250


# ── no reps ──────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_waggle_is_no_rep():
    """Little turns to and fro at address, then the swing."""
    points = [(0, 0), (0.5, 0), (0.8, -9), (1.1, 2), (1.4, -7), (1.7, 1), (2.2, 0)]
    out = fed(stage(), address(), swing(points, top_s=-1.0, thigh=ramp((-42, 23), (0, 30), (9, 30))))
    assert not reps(out)
    assert states(out) == []
    assert set(phases(out)) <= {Phase.ADDRESS, Phase.BACKSWING}
    assert phases(out)[-1] is Phase.ADDRESS


def test_a_waggle_does_not_spoil_the_swing_after_it():
    points = [(0, 0), (0.5, 0), (0.8, -9), (1.1, 0), (1.6, 0), (2.6, -42), (3.6, 85), (4.6, 85)]
    out = fed(stage(), address(), swing(points))
    (rep,) = reps(out)
    assert rep.positions["top_s"] == pytest.approx(2.6, abs=0.01)
    assert rep.positions["address_s"] > 1.0


def test_a_start_towards_the_target_is_no_rep():
    out = fed(stage(), address(), swing([(0, 0), (0.5, 0), (1.5, 60), (2.5, 60)], thigh=ramp((0, 30), (60, 10))))
    assert phases(out) == [Phase.ADDRESS, Phase.WAITING]


AIMED = [(0, 0), (0.5, 0), (1.0, 12), (2.5, 12), (3.5, -30), (4.5, 85), (5.5, 85)]
"""A turn of 12° at address, a wait, and a swing from there."""


def test_a_turn_at_address_that_costs_the_swing_is_told_before_it():
    whole = swing(AIMED)
    out = fed(stage(), address(), whole)
    assert not reps(out)
    (told,) = [one for one in out if isinstance(one, Notice)]
    assert 1.4 <= told.t_s < 2.5
    assert "12°" in told.text
    assert "set up again" in told.text
    for size in (1, 7, 10_000):
        other = stage()
        assert same(other.feed(address()) + [o for block in cut(whole, size) for o in other.feed(block)], out)


@pytest.mark.parametrize(
    "points",
    [
        [(0, 0), (0.5, 0), (1.0, 6), (2.5, 6), (3.5, -36), (4.5, 85), (5.5, 85)],  # so little is the same address
        [(0, 0), (0.5, 0), (1.0, 12), (1.1, 12), (1.6, 0), (3.0, 0)],  # and back at once
        [(0, 0), (0.5, 0), (2.0, 80), (4.0, 80)],  # walks away
    ],
)
def test_other_turns_at_address_are_no_aim(points):
    out = fed(stage(), address(), swing(points))
    assert not [one for one in out if isinstance(one, Notice)]


def test_a_new_zero_makes_an_aim_good():
    points = [(0, 0), (0.5, 0), (1.0, 12), (1.3, 12)]
    one = stage()
    out = fed(one, address(), swing(points), address(1.3), swing(begin_s=1.3))
    assert len(reps(out)) == 1
    assert not [told for told in out if isinstance(told, Notice)]


def test_a_swing_that_is_given_up_is_no_rep():
    """Back, a little down, and slowly home again."""
    points = [(0, 0), (0.5, 0), (1.5, -42), (2.3, -18), (6.0, -30), (8.0, -30)]
    out = fed(stage(), address(), swing(points))
    assert not reps(out)
    assert phases(out)[-1] is Phase.WAITING
    assert states(out)[-1:] in ([], [Motion.IDLE])


def test_a_pause_at_the_top_and_a_second_turn_back_move_the_top():
    points = [(0, 0), (0.5, 0), (1.5, -35), (1.8, -33), (2.3, -45), (3.3, 85), (4.3, 85)]
    out = fed(stage(), address(), swing(points, thigh=ramp((-46, 24), (42, 3), (85, -6))))
    assert Phase.BACKSWING in phases(out)[2:]  # it went on back
    (rep,) = reps(out)
    assert rep.positions["top_s"] == pytest.approx(2.3, abs=0.01)
    assert rep.features["pelvis_turn_top_deg"] == pytest.approx(-45, abs=0.1)


def test_a_step_is_no_rep():
    """The lead thigh goes up by 60°."""
    out = fed(stage(), address(), swing(lead_thigh=ramp((-42, 90), (0, 30))))
    assert not reps(out)
    assert phases(out) == [Phase.ADDRESS, Phase.BACKSWING, Phase.WAITING]


def test_a_rep_that_takes_longer_than_it_may_is_none():
    out = fed(stage(max_s=4.0), address(), swing(slowed(SWING, 3)))
    assert not reps(out)
    assert phases(out)[-1] is Phase.WAITING


def test_h72_a_turn_that_jumps_from_180_to_minus_180_is_no_swing():
    """A player walks round from the address: 22° of turn, not 338."""
    whole = swing([(0, 0), (0.5, 0), (3.0, 200), (4.0, 200)], thigh=ramp((0, 30), (200, 30)), top_s=-1.0)
    turn = whole.pelvis.angle_rad.copy()
    turn[:, 0] = (turn[:, 0] + np.pi) % (2 * np.pi) - np.pi
    for allowed in (15.0, 0.0):
        out = fed(
            stage(min_backswing_rad=math.radians(allowed)),
            address(),
            replace(whole, pelvis=replace(whole.pelvis, angle_rad=turn)),
        )
        assert not reps(out)


def missing(begin_s: float, end_s: float):
    one = course(SWING)
    return (one.t_s < begin_s) | (one.t_s >= end_s)


@pytest.mark.parametrize("begin_s", [1.2, 1.7, 2.1])
def test_a_rep_that_is_lost_on_its_way_is_told_as_void(begin_s):
    """0.3 s without data: in the backswing, in the downswing, in the through-swing. It does not vanish."""
    out = fed(stage(), address(), swing(ok=missing(begin_s, begin_s + 0.3)))
    (rep,) = reps(out)
    assert rep.void == "pelvis: samples of its sensor are missing – bring the sensors near"
    assert (rep.features, rep.positions) == ({}, {})
    assert phases(out)[-1] is Phase.WAITING
    assert isinstance(out[-1], PhaseChanged | StateChanged), "the rep is told before the phase that ends it"


def test_a_waggle_that_is_lost_is_no_rep():
    points = [(0, 0), (0.5, 0), (1.5, -12), (2.5, 0)]
    ok = course(points).t_s < 1.2
    assert not reps(fed(stage(), address(), swing(points, ok=ok)))


def test_a_short_loss_does_not_end_the_rep_but_it_is_void():
    out = fed(stage(), address(), swing(ok=missing(1.9, 2.0)))
    (rep,) = reps(out)
    assert rep.void
    assert rep.end_s == pytest.approx(2.5, abs=0.05)
    assert states(out) == [Motion.FALLING, Motion.IDLE], "quiet from the first missing sample on"
    quiet = next(one for one in out if isinstance(one, StateChanged) and one.state is Motion.IDLE)
    assert quiet.t_s == pytest.approx(1.9, abs=0.006)


def test_no_state_is_made_of_missing_data():
    """Nothing is decided at an instant without data, however the angles stood before."""
    ok = missing(1.62, 1.75)
    out = fed(stage(), address(), swing(thigh=STALLING, ok=ok))
    for one in out:
        if isinstance(one, StateChanged) and one.state is not Motion.IDLE:
            assert not 1.62 <= one.t_s < 1.75


def test_angles_without_a_thigh_are_passed_over():
    whole = swing()
    lame = Angles(whole.t_s, whole.pelvis, whole.joints[:1])
    assert fed(stage(), address(), lame) == [PhaseChanged(0.0, Phase.ADDRESS)]


# ── the mirror ───────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("thigh", [FALLING, STALLING, ramp((-42, 23), (-28, 29), (85, 2.5))])
def test_a_left_handers_mirror_image_gives_identical_numbers(thigh):
    out = {hand: fed(stage(hand), address(), swing(slowed(SWING, 2), hand=hand, thigh=thigh)) for hand in Hand}
    assert reps(out[Hand.RIGHT])
    assert same(out[Hand.LEFT], out[Hand.RIGHT])


# ── blocks and state ─────────────────────────────────────────────────────────────────────────────────────────────


def session() -> list:
    """Stalling, good, waggle, void for want of data, stalling."""
    items: list = [address(0.0), *cut(swing(thigh=STALLING), 20), address(10.0), *cut(swing(begin_s=10.0), 20)]
    items += [address(20.0), *cut(swing([(0, 0), (1, -9), (2, 0)], begin_s=20.0), 20)]
    items += [address(30.0), *cut(swing(begin_s=30.0, ok=missing(1.8, 2.2)), 20)]
    return [*items, address(40.0), *cut(swing(begin_s=40.0, thigh=STALLING), 20)]


@pytest.mark.parametrize("size", [1, 7, 64, 10_000])
def test_blocks_do_not_matter(size):
    whole = swing(slowed(SWING, 2), thigh=STALLING)
    one, other = stage(), stage()
    expected = one.feed(address()) + [out for block in cut(whole, 5) for out in one.feed(block)]
    found = other.feed(address()) + [out for block in cut(whole, size) for out in other.feed(block)]
    assert same([one for one in found if not isinstance(one, Rep)], [o for o in expected if not isinstance(o, Rep)])
    for name, value in reps(found)[0].features.items():
        assert value == pytest.approx(reps(expected)[0].features[name], abs=1e-9), name


@pytest.mark.parametrize("least", [0.0, 15.0])
@pytest.mark.parametrize("seed", range(20))
def test_many_steps_at_once_tell_what_single_ones_do(seed, least):
    """Any course, with rests, turns back and samples that are missing."""
    rng = np.random.default_rng(seed)
    at_s = np.cumsum(np.append(0.0, rng.uniform(0.1, 2.5, 12)))
    turns = np.append(0.0, rng.choice([-50.0, -30.0, -10.0, -3.0, 0.0, 0.5, 6.0, 20.0, 45.0, 85.0], 12))
    points = list(zip(at_s, turns, strict=True))
    away_s = course(points).t_s - rng.uniform(0.0, at_s[-1])
    known = (away_s < 0.0) | (away_s >= rng.uniform(0.02, 0.3)) | (seed % 2 == 0)
    whole, half = swing(points, thigh=STALLING, ok=known), int(200 * at_s[6])
    zeros = [address(0.0), address(at_s[6])]
    first, then = part(whole, slice(half)), part(whole, slice(half, None))

    def told(size: int) -> list:
        one = stage(min_backswing_rad=math.radians(least))
        items = [zeros[0], *cut(first, size), zeros[1], *cut(then, size)]
        return [out for item in items for out in one.feed(item)]

    single, many = told(5), told(10_000)
    assert len(single) > 2
    assert [type(one) for one in many] == [type(one) for one in single]
    assert same([one for one in many if not isinstance(one, Rep)], [one for one in single if not isinstance(one, Rep)])
    for one, other in zip(reps(many), reps(single), strict=True):
        assert (one.start_s, one.end_s, one.void) == (other.start_s, other.end_s, other.void)


def test_first_half_and_restored_state_and_second_half_are_the_whole():
    items = session()
    whole = stage()
    expected = [out for item in items for out in whole.feed(item)]
    assert [bool(one.void) for one in reps(expected)] == [False, False, True, False]
    for at in range(0, len(items) + 1, 9):
        first, second = stage(), stage()
        found = [out for item in items[:at] for out in first.feed(item)]
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [out for item in items[at:] for out in second.feed(item)]
        assert same(found, expected)


@pytest.mark.parametrize("top_s", [1.5, 1.5012, 1.5049])
def test_the_top_lies_between_samples(top_s):
    """Where the turn rate crosses zero, not the nearest sample: a quick reversal, half a cosine on either side."""
    t_s = np.arange(0, 3.5, 1 / 200)
    back, down = np.pi / (top_s - 0.5), np.pi
    u, v = np.clip(t_s - 0.5, 0, top_s - 0.5), np.clip(t_s - top_s, 0, 1.0)
    turn = -21 * (1 - np.cos(back * u)) + 63.5 * (1 - np.cos(down * v))
    rate = np.where(t_s < top_s, -21 * back * np.sin(back * u), 63.5 * down * np.sin(down * v))
    (rep,) = reps(fed(stage(), address(), angles(Course(t_s, turn, rate), top_s=top_s)))
    assert rep.positions["top_s"] == pytest.approx(top_s, abs=1.5e-3)
