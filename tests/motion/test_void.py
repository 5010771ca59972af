"""A rep in which an angle that it needs was not known is void, with the reason; others spoil nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable
from importlib.resources import files

import numpy as np
import pytest
from swings import FALLING, SWING, Part, angles, course, cut, knees, ramp, spoilt

from imufeedback import resources
from imufeedback.measure import exact
from imufeedback.motion import HipTurnStage, LiveLimits, MotionStage, Needed, RepLimits, Restarted, of_swing
from imufeedback.motion.needs import BEYOND, of_hip_turn
from imufeedback.motion.needs import SWING as ALWAYS
from imufeedback.motion.track import track
from imufeedback.records import Angles, Hand, Motion, PhaseChanged, Rep, Segment, Side, StateChanged, Zeroed, same
from imufeedback.rules import Rules, parse_rule_set
from imufeedback.synth.script import make_hip_turn_script

ALL = of_swing(["trail_hip_turn_in_back_deg", "lead_hip_turn_in_deg", "knees_cross_turn_share"])
AGAIN = " – set up to the ball again"
NEAR = " – bring the sensors near"
STALLING = ramp((-42, 23), (-8, 15), (85, 15))
DOWN_S = (1.8, 1.9)


def whole(**kwargs) -> Angles:
    made = course(SWING)
    return knees(angles(made, **kwargs), made)


def told(one: Angles | Iterable[Angles], needed: Needed = ALL, hand: Hand = Hand.RIGHT, **rep) -> list:
    stage = MotionStage(hand=hand, live=LiveLimits(), rep=RepLimits(**rep), needed=needed)
    blocks = [one] if isinstance(one, Angles) else one
    return [out for item in (Zeroed(0.0, "address"), *blocks) for out in stage.feed(item)]


def only_rep(out: list) -> Rep:
    (rep,) = [one for one in out if isinstance(one, Rep)]
    return rep


ANGLES = [
    ("pelvis", None, 0, Needed.TURN, f"pelvis: turn not known well enough{AGAIN}"),
    ("pelvis", None, 1, Needed.SIDE_TILT, "pelvis: side tilt not known well enough"),
    ("pelvis", None, 2, Needed.FORWARD_TILT, "pelvis: forward tilt not known well enough"),
    ("hip", Side.RIGHT, 0, Needed.TRAIL_FLEXION, "right hip: flexion not known well enough"),
    ("hip", Side.LEFT, 0, Needed.LEAD_FLEXION, "left hip: flexion not known well enough"),
    ("hip", Side.RIGHT, 2, Needed.TRAIL_ROTATION, f"right hip: rotation not known well enough{AGAIN}"),
    ("hip", Side.LEFT, 2, Needed.LEAD_ROTATION, f"left hip: rotation not known well enough{AGAIN}"),
    ("knee", Side.RIGHT, 0, Needed.TRAIL_KNEE, "right knee: flexion not known well enough"),
    ("knee", Side.LEFT, 0, Needed.LEAD_KNEE, "left knee: flexion not known well enough"),
]


@pytest.mark.parametrize(("joint", "side", "column", "angle", "why"), ANGLES)
@pytest.mark.parametrize(("from_s", "to_s"), [(0.8, 0.81), (1.5, 1.51), DOWN_S, (2.45, 2.46)])
def test_each_angle_that_is_needed_makes_a_rep_void(joint, side, column, angle, why, from_s, to_s):
    """Two samples of one angle are enough, in the backswing, at the top, in the downswing, just before the finish."""
    rep = only_rep(told(spoilt(whole(), joint, side, column, from_s, to_s, gap=False)))
    assert rep.void == why
    assert rep.features == {}
    assert set(rep.positions) == (set() if angle is Needed.TURN else {"address_s", "top_s", "finish_s"})
    assert rep.end_s == pytest.approx(2.5, abs=0.05)
    assert rep.start_s == pytest.approx(0.5, abs=0.1)


@pytest.mark.parametrize(("joint", "side", "column", "angle", "why"), ANGLES)
@pytest.mark.parametrize(("from_s", "to_s"), [(0.0, 0.15), (2.52, 3.0)])
def test_what_is_not_known_before_and_after_the_rep_spoils_nothing(joint, side, column, angle, why, from_s, to_s):
    if angle is Needed.TURN and from_s > 2:
        pytest.skip("the finish itself is seen in the turn")
    rep = only_rep(told(spoilt(whole(), joint, side, column, from_s, to_s, gap=False)))
    assert rep.void == ""
    assert rep.features
    assert all(math.isfinite(value) for value in rep.features.values())


@pytest.mark.parametrize(("joint", "side", "column", "angle", "why"), ANGLES[5:])
def test_an_angle_that_no_rule_looks_at_spoils_nothing(joint, side, column, angle, why):
    """Its own features are left out, all others are the same to the last digit."""
    rep = only_rep(told(spoilt(whole(), joint, side, column, *DOWN_S, gap=False), ALWAYS))
    assert rep.void == ""
    good = only_rep(told(whole(), ALWAYS))
    gone = good.features.keys() - rep.features.keys()
    assert gone
    assert all(math.isfinite(value) for value in rep.features.values())
    for name in rep.features:
        assert rep.features[name] == good.features[name], name


def test_adduction_is_needed_by_no_swing():
    rep = only_rep(told(spoilt(whole(), "hip", Side.RIGHT, 1, *DOWN_S, gap=False)))
    assert rep.void == ""


@pytest.mark.parametrize("hand", Hand)
def test_missing_samples_name_the_sensor(hand):
    """Every joint of the pelvis' sensor lacks samples when it is silent: the pelvis is named, not a hip."""
    one = whole(hand=hand)
    for joint, side, where in (
        ("hip", hand.trail, f"{hand.trail} thigh"),
        ("hip", hand.lead, f"{hand.lead} thigh"),
        ("knee", hand.trail, f"{hand.trail} shank"),
        ("knee", hand.lead, f"{hand.lead} shank"),
    ):
        rep = only_rep(told(spoilt(one, joint, side, 0, *DOWN_S, gap=True), hand=hand))
        assert rep.void == f"{where}: samples of its sensor are missing{NEAR}"
    silent = one
    for joint, side in (("pelvis", None), ("hip", Side.LEFT), ("hip", Side.RIGHT)):
        silent = spoilt(silent, joint, side, 0, *DOWN_S, gap=True)
    assert only_rep(told(silent, hand=hand)).void.startswith("pelvis: samples of its sensor")
    held = one
    for joint, side in (("hip", Side.LEFT), ("hip", Side.RIGHT)):
        held = spoilt(held, joint, side, 0, *DOWN_S, gap=True)
    for column in range(3):  # the error bar of the last sample stays for a while
        held = spoilt(held, "pelvis", None, column, *DOWN_S, gap=False)
    assert only_rep(told(held, hand=hand)).void.startswith("pelvis: samples of its sensor")
    thigh = spoilt(spoilt(one, "hip", hand.lead, 0, *DOWN_S, gap=True), "knee", hand.lead, 0, *DOWN_S, gap=True)
    assert only_rep(told(thigh, hand=hand)).void.startswith(f"{hand.lead} thigh: samples")


def test_a_rotation_that_stays_unknown_after_a_gap_says_so():
    one = spoilt(whole(), "hip", Side.RIGHT, 0, 0.1, 0.15, gap=True)
    one = spoilt(one, "hip", Side.RIGHT, 2, 0.15, 9.0, gap=False)
    assert only_rep(told(one)).void == f"right hip: rotation not known after a gap{AGAIN}"
    assert only_rep(told(one, ALWAYS)).void == ""


def test_a_zero_makes_whole():
    """After it the gap and the restart before it play no part any more."""
    stage = MotionStage(hand=Hand.RIGHT, live=LiveLimits(), rep=RepLimits(), needed=ALL)
    made = course([(0, 0), (1.0, 0)])
    waits = spoilt(knees(angles(made), made), "hip", Side.RIGHT, 0, 0.5, 0.6, gap=True)
    later = course(SWING, begin_s=1.0)
    items = [Zeroed(0.0, "address"), Restarted(0.7, Segment.PELVIS), waits, Zeroed(1.0, "address")]
    out = [one for item in (*items, knees(angles(later), later)) for one in stage.feed(item)]
    assert only_rep(out).void == ""


@pytest.mark.parametrize(("at_s", "void"), [(0.1, False), (0.9, True), (1.7, True), (2.4, True), (2.58, False)])
def test_a_sensor_that_restarts_within_the_rep(at_s, void):
    """Told before the samples it belongs to, as in life, or long before, as when many items are judged together."""
    for blocks in ([whole()], list(cut(whole(), 20))):
        stage = MotionStage(hand=Hand.RIGHT, live=LiveLimits(), rep=RepLimits(), needed=ALL)
        out = [*stage.feed(Zeroed(0.0, "address")), *stage.feed(Restarted(at_s, Segment.LEFT_THIGH))]
        out += [one for block in blocks for one in stage.feed(block)]
        assert only_rep(out).void == (f"left thigh: its sensor restarted{AGAIN}" if void else "")


@pytest.mark.parametrize("size", [1, 7, 64, 10_000])
@pytest.mark.parametrize(("joint", "side"), [("pelvis", None), ("hip", Side.LEFT)])
def test_blocks_do_not_matter(size, joint, side):
    one = spoilt(whole(thigh=STALLING), joint, side, 0, 2.0, 2.3, gap=True)
    assert same(told(cut(one, size)), told(cut(one, 5)))


@pytest.mark.parametrize(("joint", "side", "column", "angle", "why"), ANGLES)
def test_nothing_is_told_live_from_the_first_unknown_sample_on(joint, side, column, angle, why):
    """In the backswing, so no state at all; and while a stall is being told, which ends at once."""
    early = told(spoilt(whole(thigh=STALLING), joint, side, column, 1.2, 1.21, gap=False))
    assert not [one for one in early if isinstance(one, StateChanged)]
    late = told(spoilt(whole(thigh=STALLING), joint, side, column, 2.2, 2.21, gap=False))
    found = [one for one in late if isinstance(one, StateChanged)]
    assert Motion.STALLED in [one.state for one in found]
    assert found[-1].state is Motion.IDLE
    assert found[-1].t_s == pytest.approx(2.2, abs=0.006)


def test_a_thigh_that_is_silent_all_along_does_not_hide_the_swing():
    one = spoilt(whole(), "hip", Side.LEFT, 0, 0.0, 9.0, gap=True)
    assert only_rep(told(one)).void.startswith("left thigh: samples")


def test_a_step_with_a_silent_pelvis_is_no_rep():
    """The thighs have moved as in no swing before the turn is lost."""
    step = ramp((-42, 23), (0, 80), (85, 90))
    one = spoilt(whole(thigh=step), "pelvis", None, 0, 2.2, 2.5, gap=True)
    assert not [found for found in told(one) if isinstance(found, Rep)]


def test_a_downswing_whose_turn_was_lost_is_told_when_the_player_sets_up_anew():
    points = [(0, 0), (0.5, 0), (1.5, -30), (2.5, -15), (3.0, -15)]
    made = course(points)
    one = spoilt(angles(made), "pelvis", None, 0, 1.9, 2.0, gap=True)
    stage = MotionStage(hand=Hand.RIGHT, live=LiveLimits(), rep=RepLimits())
    out = [told for item in (Zeroed(0.0, "address"), one, Zeroed(3.0, "address")) for told in stage.feed(item)]
    assert only_rep(out).void.startswith("pelvis: samples")
    at = out.index(only_rep(out))
    assert any(isinstance(later, PhaseChanged) for later in out[at:])


def test_a_drill_without_a_backswing():
    points = [(0, 0), (0.5, 0), (1.5, 80), (2.5, 80)]
    made = course(points)
    one = angles(made, thigh=ramp((0, 23), (80, -6)), top_s=0.0)
    good = only_rep(told(one, ALWAYS, min_backswing_rad=0.0, min_through_rad=0.5))
    assert good.void == ""
    bad = spoilt(one, "hip", Side.RIGHT, 0, 1.0, 1.01, gap=False)
    assert only_rep(told(bad, ALWAYS, min_backswing_rad=0.0, min_through_rad=0.5)).void.startswith("right hip: flexion")


# ── which angles rules need ──────────────────────────────────────────────────────────────────────────────────────


def test_the_rule_set_says_what_is_needed():
    sets = {name: parse_rule_set(resources.text("rules", name), name) for name in resources.available("rules")}
    sets |= {name: parse_rule_set(resources.text("drills", name), name) for name in resources.available("drills")}
    needed = {name: of_swing(one.features) for name, one in sets.items()}
    rotations = Needed.TRAIL_ROTATION | Needed.LEAD_ROTATION
    assert needed["swing"] == ALL
    assert needed["full-swings"] == ALWAYS | rotations
    assert needed["half-swings"] == ALWAYS | rotations
    assert needed["shaft-across-the-hips"] == ALWAYS | rotations
    assert needed["rehearsal-from-the-top"] == ALWAYS | rotations
    assert needed["through-from-address"] == ALWAYS, "no rule of it looks at a rotation"


@pytest.mark.parametrize(("joint", "side", "column", "angle", "why"), ANGLES[5:])
def test_a_feature_that_goes_with_an_angle_is_known_to_need_it(joint, side, column, angle, why):
    """What disappears, or changes, when an angle is not known is in the table of needs: no more and no less."""
    good = only_rep(told(whole(), ALWAYS)).features
    bad = only_rep(told(spoilt(whole(), joint, side, column, *DOWN_S, gap=False), ALWAYS)).features
    for name in good:
        needs_it = bool(of_swing([name]) & angle)
        assert needs_it or bad.get(name) == good[name], name
    assert all(any(name.startswith(begin) for begin, _ in BEYOND) for name in good.keys() - bad.keys())


def test_a_void_rep_has_no_findings():
    rules = Rules(parse_rule_set((files("imufeedback") / "rules/sets/swing.toml").read_text("utf-8"), "swing"))
    features = {"trail_thigh_flat_turn_deg": 40.0}
    assert rules.feed(Rep(0, "swing", 0.0, 1.0, {}, (), features))
    assert rules.feed(Rep(0, "swing", 0.0, 1.0, {}, (), features, "right hip: flexion not known well enough")) == []


# ── hip turns ────────────────────────────────────────────────────────────────────────────────────────────────────


def hip_turns(side: str, spoil=lambda whole: whole, *more) -> list[Rep]:
    script = make_hip_turn_script(hand=Hand.RIGHT, turns_deg=(30.0, -24.0))
    stage = HipTurnStage(hand=Hand.RIGHT)
    stage.use(side=side, least_rad=np.deg2rad(12), kind="hip-turn")
    one = exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200)
    return [rep for item in (*more, *cut(spoil(one), 20)) for rep in stage.feed(item)]


@pytest.mark.parametrize("column", [0, 1, 2])
@pytest.mark.parametrize("side", ["trail", "lead"])
def test_a_hip_turn_needs_all_angles_of_its_own_hip(side, column):
    standing, other = (Side.RIGHT, Side.LEFT) if side == "trail" else (Side.LEFT, Side.RIGHT)
    good = hip_turns(side)
    at_s = good[0].positions["furthest_s"]
    void, fine = hip_turns(side, lambda one: spoilt(one, "hip", standing, column, at_s, at_s + 0.01, gap=False))
    assert void.void.startswith(f"{standing} hip: ")
    assert (void.features, void.kind) == ({}, good[0].kind)
    assert fine.void == ""
    assert fine.features == good[1].features
    spoilt_other = hip_turns(side, lambda one: spoilt(one, "hip", other, column, at_s, at_s + 0.01, gap=False))
    assert [one.void for one in spoilt_other] == ["", ""], "the other leg may do what it likes"


@pytest.mark.parametrize("column", [0, 1, 2])
def test_a_hip_turn_needs_the_pelvis(column):
    at_s = hip_turns("lead")[0].positions["furthest_s"]
    void, _ = hip_turns("lead", lambda one: spoilt(one, "pelvis", None, column, at_s, at_s + 0.01, gap=False))
    assert void.void.startswith("pelvis: ")


def test_a_hip_turn_that_is_lost_is_told():
    at_s = hip_turns("lead")[0].positions["furthest_s"]
    reps = hip_turns("lead", lambda one: spoilt(one, "pelvis", None, 0, at_s, at_s + 0.4, gap=True))
    assert reps[0].void.startswith("pelvis: samples")


def test_a_sensor_that_restarts_within_a_hip_turn():
    at_s = hip_turns("lead")[0].positions["furthest_s"]
    void, fine = hip_turns("lead", lambda one: one, Restarted(at_s, Segment.LEFT_THIGH))
    assert void.void == f"left thigh: its sensor restarted{AGAIN}"
    assert fine.void == ""


def test_needs_of_a_hip_turn_are_its_own():
    assert not of_hip_turn("lead") & Needed.TRAIL_ROTATION
    assert not of_hip_turn("trail") & Needed.LEAD_FLEXION


def test_a_track_tells_missing_from_unsure():
    one = spoilt(whole(), "hip", Side.RIGHT, 2, 1.0, 1.005, gap=False)
    one = spoilt(one, "knee", Side.LEFT, 0, 1.0, 1.005, gap=True)
    (row,) = track(one, Hand.RIGHT)[(one.t_s >= 1.0) & (one.t_s < 1.005)]
    assert Needed(int(row[12])) is Needed.LEAD_KNEE
    assert Needed(int(row[25])) is Needed.TRAIL_ROTATION


def test_helpers_leave_the_rest_alone():
    def finite(one: Part) -> bool:
        return bool(np.isfinite(one.angle_rad).all() and one.ok.all())

    one = spoilt(whole(thigh=FALLING), "hip", Side.RIGHT, 2, 1.0, 1.1, gap=False)
    assert finite(one.pelvis)
    assert [finite(joint) for joint in one.joints] == [True, False, True, True]


@pytest.mark.parametrize("reason", ["asked", "undone"])
@pytest.mark.parametrize(("at_s", "void"), [(0.3, False), (1.2, True), (2.2, True)])
def test_a_zero_by_hand_within_the_swing_spoils_it(reason, at_s, void):
    one = whole(thigh=STALLING)
    stage = MotionStage(hand=Hand.RIGHT, live=LiveLimits(), rep=RepLimits(), needed=ALL)
    at = int(at_s * 200)
    before, after = one.part(slice(0, at)), one.part(slice(at, None))
    items = (Zeroed(0.0, "address"), before, Zeroed(at_s, reason), after)
    out = [found for item in items for found in stage.feed(item)]
    assert only_rep(out).void.startswith("turn and rotation were set to zero") == void
    told_after = [found.state for found in out if isinstance(found, StateChanged) and found.t_s > at_s + 0.006]
    assert (Motion.STALLED in told_after) == (not void)
