"""Feedback modes: which reps have tones, when the result is told, and why there is each mode."""

from __future__ import annotations

import itertools
from dataclasses import replace

import pytest

from imufeedback.cues.feedback import ESTIMATE, FADED_SHARES, PURPOSES, Feedback
from imufeedback.cues.schedule import Cueing, TimedEvent
from imufeedback.records import Finding, Mode, Motion, Phase, PhaseChanged, Rep, SelfEstimate, StateChanged, Verdict


def toned(mode: Mode, share: float, reps: int = 10) -> list[int]:
    return [one for one in range(reps) if Feedback(mode, share).has_tones(one)]


@pytest.mark.parametrize(("share", "expected"), [(1.0, 10), (0.5, 5), (0.2, 2), (0.0, 0)])
def test_a_share_of_the_reps_has_tones_spread_over_the_block(share, expected):
    which = toned(Mode.FADED, share)
    assert len(which) == expected
    if expected:
        assert which[0] == 0
        gaps = {b - a for a, b in itertools.pairwise(which)}
        assert len(gaps) <= 1


def test_fading_goes_from_all_to_none():
    assert [len(toned(Mode.FADED, share)) for share in FADED_SHARES] == [10, 5, 2, 0]


def test_without_tones_is_without_tones():
    assert toned(Mode.NONE, 1.0) == []


def test_every_mode_says_what_it_is_for_and_names_its_source():
    assert set(PURPOSES) == set(Mode)
    for one in (*PURPOSES.values(), ESTIMATE):
        assert len(one.use.split()) > 4
        assert any(mark in one.source for mark in ("19", "20", "n ="))


# ── what is heard ────────────────────────────────────────────────────────────────────────────────────────────────


def one_rep(cueing: Cueing, t_s: float, index: int, *, fault: Verdict | None = Verdict.FAULT) -> list[str]:
    """A rep with a stall; its findings, if any, between rep and the end of it."""
    rep = Rep(index, "swing", t_s, t_s + 2, {}, (), {})
    events = [
        (t_s, PhaseChanged(t_s, Phase.DOWNSWING)),
        (t_s + 1, StateChanged(t_s + 1, t_s + 0.95, Motion.STALLED, 0.3, 0.1)),
        (t_s + 2, rep),
    ]
    if fault is not None:
        events.append((t_s + 2, Finding("one", index, t_s + 1, 9.0, 5.0, "deg", fault, "…", "regaining")))
    events.append((t_s + 2, PhaseChanged(t_s + 2, Phase.WAITING)))
    return [cue.sound for now_s, event in events for cue in cueing.feed(TimedEvent(now_s, event))]


def cueing(mode: Mode, share: float = 1.0, *, estimate: bool = False, allowed=()) -> Cueing:
    one = Cueing()
    one.begin_block(Feedback(mode, share, estimate), allowed)
    return one


def test_concurrent_tells_in_motion():
    assert one_rep(cueing(Mode.CONCURRENT), 1.0, 0) == ["stalled", "rep-counted"]


def test_without_tones_a_rep_is_counted_and_nothing_said_about_it():
    assert one_rep(cueing(Mode.NONE), 1.0, 0) == ["rep-counted"]


def test_faded_tells_about_some():
    one = cueing(Mode.FADED, 0.5)
    assert [one_rep(one, 10.0 * k, k) for k in range(4)] == [
        ["stalled", "rep-counted"],
        ["rep-counted"],
        ["stalled", "rep-counted"],
        ["rep-counted"],
    ]


def test_after_the_rep_the_result_is_told_good_or_not():
    assert one_rep(cueing(Mode.AFTER_REP), 1.0, 0) == ["regaining"]
    assert one_rep(cueing(Mode.AFTER_REP), 1.0, 0, fault=None) == ["target-reached"]
    assert one_rep(cueing(Mode.AFTER_REP), 1.0, 0, fault=Verdict.UNSURE) == ["target-reached"]


def test_inside_the_band_silence_means_good():
    assert one_rep(cueing(Mode.BANDWIDTH), 1.0, 0) == ["regaining"]
    assert one_rep(cueing(Mode.BANDWIDTH), 1.0, 0, fault=None) == []
    assert one_rep(cueing(Mode.BANDWIDTH), 1.0, 0, fault=Verdict.UNSURE) == []


def test_the_result_waits_for_the_players_own_estimate():
    one = cueing(Mode.AFTER_REP, estimate=True)
    assert one_rep(one, 1.0, 0) == ["rep-counted"], "it says that the answer is due, and nothing of the result"
    assert one.feed(TimedEvent(5.0, SelfEstimate(5.0, 7, "good"))) == [], "of another rep"
    told = one.feed(TimedEvent(6.0, SelfEstimate(6.0, 0, "good")))
    assert [(cue.sound, cue.rep) for cue in told] == [("regaining", 0)]
    assert one.feed(TimedEvent(7.0, SelfEstimate(7.0, 0, "good"))) == [], "once"


def test_a_drill_makes_only_its_own_sounds():
    assert one_rep(cueing(Mode.CONCURRENT, allowed=["regaining"]), 1.0, 0) == ["rep-counted"]


def test_a_new_block_counts_its_reps_anew():
    one = cueing(Mode.FADED, 0.5)
    one_rep(one, 0.0, 0)
    one.begin_block(Feedback(Mode.FADED, 0.5))
    assert one_rep(one, 10.0, 1)[0] == "stalled"


def test_the_state_holds_the_block():
    one, other = cueing(Mode.FADED, 0.5), Cueing()
    one_rep(one, 0.0, 0)
    other.state = one.state
    assert one_rep(other, 10.0, 1) == one_rep(one, 10.0, 1) == ["rep-counted"]


VOID = Rep(1, "swing", 0.0, 2.0, {}, (), {}, "right hip: flexion not known well enough")


@pytest.mark.parametrize("mode", Mode)
def test_a_void_rep_is_silent_and_takes_no_turn_of_the_block(mode):
    """No sound says that it did not count, and none that it did; the next rep has the tones that it would have had."""
    cueing = Cueing()
    cueing.begin_block(Feedback(mode, 0.5))
    assert cueing.feed(TimedEvent(2.0, PhaseChanged(1.0, Phase.DOWNSWING))) == []
    before = cueing.state
    assert cueing.feed(TimedEvent(2.0, VOID)) == []
    assert cueing.feed(TimedEvent(2.0, PhaseChanged(2.0, Phase.WAITING))) == []
    assert cueing.state == replace(before, phase=Phase.WAITING)


def test_the_result_of_the_rep_before_is_not_told_again_after_a_void_one():
    cueing = Cueing()
    cueing.begin_block(Feedback(Mode.AFTER_REP, estimate=True))
    one_rep(cueing, 10.0, 0)
    assert [one.rep for one in cueing.feed(TimedEvent(14.0, SelfEstimate(14.0, 0, "good")))] == [0]
    for event in (VOID, PhaseChanged(20.0, Phase.WAITING), SelfEstimate(21.0, 1, "good")):
        assert cueing.feed(TimedEvent(20.0, event)) == []
