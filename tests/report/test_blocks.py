"""The summary by blocks and by tones, and what is left of it from one test block to the next."""

from __future__ import annotations

import pytest

from imufeedback.document import Document, Tally
from imufeedback.record.library.edits import EditLine, Edits
from imufeedback.records import BlockBegun, Discarded, Doubted, Finding, Hand, Mode, Rep, Role, SelfEstimate, Verdict
from imufeedback.report.plain_words import feature_word, unit_of
from imufeedback.report.retention import last_test, retention
from imufeedback.report.story import counted
from imufeedback.report.summary import Summary


def rep(index: int) -> Rep:
    return Rep(index, "swing", 10.0 * index, 10.0 * index + 5, {}, (), {})


def finding(index: int, verdict: Verdict = Verdict.FAULT) -> Finding:
    return Finding("falls", index, 1.0, 9.0, 5.0, "deg", verdict, "…", "stalled", 1.5)


def summary(*events) -> Document:
    one = Summary(Hand.RIGHT)
    one(list(events))
    return one.document()


def block(role: Role, mode: Mode = Mode.NONE, share: float = 1.0, drill: str = "full-swings") -> BlockBegun:
    return BlockBegun(0.0, str(role), role, drill, mode, share)


def test_reps_with_tones_are_kept_apart_from_reps_without():
    found = summary(
        block(Role.BASELINE), rep(0), finding(0), rep(1), finding(1),
        block(Role.DRILL, Mode.FADED, 0.5), rep(2), rep(3), finding(3, Verdict.UNSURE),
        block(Role.TEST), rep(4),
    )  # fmt: skip
    assert [one.tones for one in found.reps] == [False, False, True, False, False]
    assert found.tones.with_tones == Tally(reps=1, clean=1)
    assert found.tones.without_tones == Tally(reps=4, clean=2, faults={"falls": 2}, unsure={"falls": 1})
    assert [(one.role, one.reps, one.clean) for one in found.blocks] == [
        ("baseline", 2, 0),
        ("drill", 2, 2),
        ("test", 1, 1),
    ]


def test_a_rep_that_was_taken_out_counts_nowhere():
    found = summary(
        block(Role.BASELINE), rep(0), finding(0), rep(1), rep(2),
        Discarded(30.0, 0, on=True), Discarded(31.0, 1, on=True), Discarded(32.0, 1, on=False),
    )  # fmt: skip
    assert [one.discarded for one in found.reps] == [True, False, False]
    assert [one.index for one in counted(found.reps)] == [1, 2]
    assert (found.totals.reps, found.totals.void, found.totals.faults) == (2, 0, 0)
    assert found.tones.without_tones == Tally(reps=2, clean=2)
    assert [(one.reps, one.clean) for one in found.blocks] == [(2, 2)]


def test_what_was_taken_out_in_the_session_can_be_put_back_later():
    reps = summary(rep(0), rep(1), rep(2), Discarded(30.0, 0, on=True), Discarded(31.0, 1, on=True)).reps
    edits = Edits()
    assert edits.out_of(reps) == {0, 1}
    edits.take(EditLine("keep", rep=0))
    edits.take(EditLine("discard", rep=2))
    assert edits.out_of(reps) == {1, 2}
    edits.take(EditLine("discard", rep=0))
    assert edits.out_of(reps) == {0, 1, 2}


def test_without_blocks_every_rep_has_tones():
    found = summary(rep(0), rep(1))
    assert found.blocks == []
    assert found.tones.with_tones.reps == 2


def test_the_players_estimate_stands_beside_the_rep():
    found = summary(rep(0), SelfEstimate(6.0, 0, "good"), rep(1))
    assert [one.estimate for one in found.reps] == ["good", None]


def test_the_error_bar_stands_beside_the_value():
    found = summary(rep(0), finding(0))
    assert found.reps[0].findings[0].sd == 1.5


# ── retention ────────────────────────────────────────────────────────────────────────────────────────────────────


def session(faults: int, reps: int, drill: str = "full-swings") -> Document:
    events = [block(Role.TEST, drill=drill)]
    for index in range(reps):
        events.append(rep(index))
        if index < faults:
            events.append(finding(index))
    return summary(*events)


def test_today_against_the_last_time():
    found = retention(session(1, 8), session(4, 8))
    assert found is not None
    assert found.clean_change == pytest.approx(3 / 8)
    assert found.rules() == {"falls": pytest.approx(-3 / 8)}


def test_blocks_of_different_lengths_are_compared_by_shares():
    assert retention(session(2, 4), session(4, 8)).clean_change == 0.0


def test_nothing_to_compare():
    assert last_test(summary(rep(0))) is None
    assert retention(session(1, 8), summary(rep(0))) is None
    assert retention(session(1, 8), session(1, 8, "half-swings")) is None


# ── words ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_words():
    assert feature_word("trail_thigh_angle_top_deg") == "trail thigh angle at top"
    assert feature_word("lead_hip_turn_in_sd_deg") == "error bar of: inward turn of the lead hip on the way down"
    assert (unit_of("turn_rate_max_deg_s"), unit_of("backswing_s"), unit_of("own_axis_share")) == ("°/s", "s", "")
    with pytest.raises(KeyError):
        feature_word("mood_deg")


def test_void_reps_are_in_no_tally_and_take_no_turn_of_a_block():
    void = Rep(1, "swing", 10.0, 15.0, {}, (), {}, "pelvis: its sensor restarted")
    found = summary(block(Role.DRILL, Mode.FADED, 0.5), rep(0), finding(0), void, rep(2), rep(3))
    assert [one.void for one in found.reps] == [None, "pelvis: its sensor restarted", None, None]
    assert [one.tones for one in found.reps] == [True, False, False, True]
    assert (found.totals.reps, found.totals.void) == (3, 1)
    assert (found.blocks[0].reps, found.blocks[0].clean) == (3, 2)
    assert found.tones.with_tones.reps + found.tones.without_tones.reps == 3


def test_a_doubt_is_a_notice():
    doubt = Doubted(1.0, "right hip", "joint", "right hip: its two inclinations do not agree")
    assert summary(doubt).notices == ["right hip: its two inclinations do not agree"]
