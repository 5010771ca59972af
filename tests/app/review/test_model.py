"""What the review shows, checked by hand: the figure's geometry, alignment, playback."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest

from imufeedback.app.review.model import (
    PlaybackClock,
    against_turn,
    changed,
    cues_between,
    found,
    overlay,
    place_word,
    same_place,
)
from imufeedback.document import Document, JudgedRep, RepCue, RuleFinding
from imufeedback.record.trace import Trace, TraceWriter
from imufeedback.records import Angles, JointAngles, PelvisAngles, Side, Verdict, frozen


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
    assert changed(then, now) == ["rep 1: none before, not met: b now", "rep 3: was not found before"]
    assert changed(now, now) == []
    assert changed(now, then)[-1] == "1 reps fewer than before"
    assert found(rep(0, 1, "a-b")) == "not met: a b"


def test_playback_runs_at_its_speed_and_stops_at_the_end():
    play = PlaybackClock()
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


def test_the_same_place_of_another_rep_is_found_by_their_marks() -> None:
    def rep(start_s: float, end_s: float, **marks: float) -> JudgedRep:
        return JudgedRep(
            index=0, kind="swing", start_s=start_s, end_s=end_s, marks=marks, features={}, findings=[], cues=[]
        )

    slow, quick = rep(0.0, 8.0, top_s=4.0, impact_s=6.0), rep(20.0, 22.0, top_s=21.0, impact_s=21.5, level_s=21.2)
    for here, there in ((0.0, 20.0), (4.0, 21.0), (5.0, 21.25), (6.0, 21.5), (8.0, 22.0), (8.5, 22.5), (-1.0, 19.0)):
        assert same_place(slow, quick, here) == pytest.approx(there)
    assert same_place(slow, slow, 3.3) == pytest.approx(3.3)
    assert place_word(slow, 4.02) == "top"
    assert place_word(slow, 5.0) == ""
