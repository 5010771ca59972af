"""What the review shows, checked by hand: the figure's geometry, alignment, playback."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from imufeedback.app.review.figure import HIP_HALF_M, THIGH_M, View, figure, seen
from imufeedback.app.review.model import Playback, against_turn, changed, cues_between, found, overlay
from imufeedback.document import Document, JudgedRep, RepCue, RuleFinding
from imufeedback.record.trace import Stretch, Trace, TraceWriter
from imufeedback.records import Angles, Hand, JointAngles, PelvisAngles, Side, Verdict, frozen

COLUMNS = (
    "pelvis_turn_deg", "pelvis_side_tilt_deg", "pelvis_forward_tilt_deg",
    *(f"{side}_hip_{name}_deg" for side in Side for name in ("flexion", "adduction", "internal_rotation")),
    "left_knee_flexion_deg",
)  # fmt: skip


def pose(**angles: float) -> Stretch:
    row = np.array([[angles.get(name.removesuffix("_deg"), 0.0) for name in COLUMNS]])
    return Stretch(COLUMNS, np.zeros(1), row, row)


def at(view: View, hand: Hand = Hand.RIGHT, **angles: float) -> dict[str, tuple[float, float]]:
    shown = figure(pose(**angles), 0, hand)
    assert shown is not None
    return seen(shown, view, hand)


def test_standing_face_on_the_players_right_is_on_the_left():
    places = at(View.FACE_ON)
    assert places["right_hip"] == pytest.approx((-HIP_HALF_M, 0))
    assert places["right_knee"] == pytest.approx((-HIP_HALF_M, -THIGH_M))
    assert "right_ankle" not in places or places["right_ankle"][1] < -THIGH_M
    assert "left_ankle" in places


@pytest.mark.parametrize("hand", list(Hand))
def test_the_square_view_shows_the_thigh_angle_itself(hand):
    """Whatever the pelvis does: the angle in the picture is hip flexion, forward of the pelvis."""
    moved = {"pelvis_turn": 40.0, "pelvis_side_tilt": 10.0, "pelvis_forward_tilt": 20.0}
    places = at(View.PELVIS, hand, right_hip_flexion=30.0, left_hip_flexion=-10.0, **moved)
    forward = 1.0 if hand is Hand.RIGHT else -1.0
    for side, angle in (("right", 30.0), ("left", -10.0)):
        dx, dy = np.subtract(places[f"{side}_knee"], places[f"{side}_hip"])
        assert np.degrees(np.arctan2(forward * dx, -dy)) == pytest.approx(angle)


@pytest.mark.parametrize("hand", list(Hand))
def test_turn_towards_the_target_seen_from_above(hand):
    """The player looks up the picture; a right-hander's target is on the left: turning there, the right hip comes
    forward. A left-hander is the mirror image."""
    places = at(View.TOP, hand, pelvis_turn=30.0)
    forward = places[f"{hand.trail}_hip"][1]
    assert forward == pytest.approx(HIP_HALF_M * np.sin(np.radians(30)))


@pytest.mark.parametrize("hand", list(Hand))
def test_lead_side_up(hand):
    places = at(View.FACE_ON, hand, pelvis_side_tilt=10.0)
    assert places[f"{hand.lead}_hip"][1] > places[f"{hand.trail}_hip"][1]


@pytest.mark.parametrize("hand", list(Hand))
def test_tipped_forward_along_the_target_line(hand):
    """A right-hander faces right in the picture, a left-hander left."""
    waist = at(View.TARGET_LINE, hand, pelvis_forward_tilt=20.0)["waist"]
    assert np.sign(waist[0]) == (1 if hand is Hand.RIGHT else -1)


def test_bones_keep_their_length():
    shown = figure(
        pose(pelvis_turn=50, right_hip_flexion=70, right_hip_adduction=-20, right_hip_internal_rotation=30),
        0,
        Hand.LEFT,
    )
    assert shown is not None
    assert np.linalg.norm(shown.points["right_knee"] - shown.points["right_hip"]) == pytest.approx(THIGH_M)


def test_an_unknown_angle_has_no_figure():
    assert figure(pose(right_hip_flexion=float("nan")), 0, Hand.RIGHT) is None


def rep(index: int, start_s: float, *rules: str, **marks: float) -> JudgedRep:
    findings = [RuleFinding(rule=one, t_s=None, value=None, limit=None, verdict=Verdict.FAULT) for one in rules]
    return JudgedRep(
        index=index,
        kind="swing",
        start_s=start_s,
        end_s=start_s + 2,
        marks=marks,
        features={},
        findings=findings,
        cues=[RepCue(sound="stalled", t_s=start_s + 1)],
    )


@pytest.fixture(name="trace")
def a_trace(tmp_path: Path) -> Trace:
    """20 s at 100 Hz in which every angle is the time, in degrees; sd is 1."""
    t_s = np.arange(2000) / 100
    angle, one, ok = (
        np.radians(t_s)[:, None] * np.ones(3),
        np.radians(np.ones((2000, 3))),
        frozen(np.ones((2000, 3)), np.bool_),
    )
    joints = [JointAngles("hip", side, t_s, frozen(angle), frozen(one), frozen(one), ok) for side in Side]
    with TraceWriter(tmp_path / "a.trace") as writer:
        writer.add(Angles(t_s, PelvisAngles(t_s, frozen(angle), frozen(one), frozen(one), ok), tuple(joints)))
    return Trace(tmp_path / "a.trace")


def test_reps_lie_over_each_other_at_the_mark(trace):
    reps = [rep(0, 2, top_s=3.0), rep(1, 8, "r", top_s=9.5), rep(2, 14)]
    lines = overlay(trace, reps, "right_hip_flexion_deg", "top_s")
    assert [(one.rep, one.fault) for one in lines] == [(0, False), (1, True)], "a rep without the mark is left out"
    for line, top in zip(lines, (3.0, 9.5), strict=True):
        assert np.interp(0.0, line.x, line.y) == pytest.approx(top, abs=1e-4)
        assert np.allclose(line.sd, 1.0)


def test_against_turn_from_top_to_finish(trace):
    (line,) = against_turn(trace, [rep(0, 2, top_s=3.0)], "left_hip_flexion_deg")
    assert (line.x[0], line.x[-1]) == pytest.approx((3.0, 4.0), abs=1e-4)
    assert np.allclose(line.x, line.y)


def test_h118_a_trace_is_thinned_and_not_loaded(trace):
    assert len(trace.stretch(at_most=100).t_s) == 100
    assert len(trace.stretch(5.0, 5.5).t_s) == 51
    assert trace.span_s == (0.0, 19.99)


def test_an_old_verdict_beside_todays():
    then = Document(version="1", reps=[rep(0, 2), rep(1, 8, "a")])
    now = Document(version="2", reps=[rep(0, 2.1, "b"), rep(1, 8, "a"), rep(2, 14)])
    assert changed(then, now) == ["rep 1: rules not met: none before, b now", "rep 3: was not found before"]
    assert changed(now, now) == []
    assert changed(now, then)[-1] == "1 reps fewer than before"
    assert found(rep(0, 1, "a-b")) == "a b"


def test_playback_runs_at_its_speed_and_stops_at_the_end():
    play = Playback()
    play.load(10.0, 12.0)
    play.speed = 0.5
    play.toggle()
    assert play.advance(100.0) == (10.0, 10.0)
    assert play.advance(101.0) == (10.0, 10.5)
    play.toggle()
    assert play.advance(150.0) == (10.5, 10.5)
    play.toggle()
    assert play.advance(200.0) == (10.5, 10.5), "a pause is no time"
    assert play.advance(209.0) == (10.5, 12.0)
    assert not play.running
    play.toggle()
    assert play.now_s == 10.0
    play.seek(99.0)
    assert play.now_s == 12.0


def test_every_cue_sounds_once():
    reps = [rep(0, 2), rep(1, 8)]
    steps = np.linspace(0, 20, 333)
    heard = [sound for a, b in itertools.pairwise(steps) for sound in cues_between(reps, a, b)]
    assert heard == ["stalled", "stalled"]
