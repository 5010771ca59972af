"""What may be shown now: nothing of a baseline or test before its end, no result before the player's own estimate."""

from __future__ import annotations

import pytest

from imufeedback.cues.telling import Telling
from imufeedback.records import BlockBegun, Finding, Mode, Motion, Rep, Role, SelfEstimate, StateChanged, Verdict


def rep(index: int, void: str = "") -> Rep:
    return Rep(index, "swing", index, index + 1, {}, (), {}, void)


def finding(index: int) -> Finding:
    return Finding("one", index, 1.0, 9.0, 5.0, "deg", Verdict.FAULT, "…", "stalled")


def block(role: Role, *, estimate: bool = False) -> BlockBegun:
    return BlockBegun(0.0, str(role), role, "swing", Mode.NONE, 1.0, estimate)


STALL = StateChanged(1.0, 0.9, Motion.STALLED, 0.3, 0.1)


@pytest.mark.parametrize("role", [Role.BASELINE, Role.TEST])
def test_nothing_is_told_before_the_block_is_over(role: Role) -> None:
    telling = Telling()
    telling.hear(block(role))
    assert [telling.hear(one) for one in (STALL, rep(0), finding(0), rep(1))] == [[], [], [], []]
    assert telling.asks is None
    following = block(Role.SWINGS)
    assert telling.hear(following) == [rep(0), finding(0), rep(1), following]
    assert telling.hear(STALL) == [STALL]


def test_an_answer_does_not_open_a_test() -> None:
    telling = Telling()
    telling.hear(block(Role.TEST, estimate=True))
    telling.hear(rep(0))
    assert rep(0) not in telling.hear(SelfEstimate(2.0, 0, "good"))


def test_a_void_rep_is_no_result() -> None:
    telling = Telling()
    telling.hear(block(Role.TEST))
    assert telling.hear(rep(0, "a sensor was lost")) == [rep(0, "a sensor was lost")]


def test_a_result_waits_for_the_answer_to_its_own_rep() -> None:
    telling = Telling()
    telling.hear(block(Role.SWINGS, estimate=True))
    telling.hear(rep(3))
    telling.hear(finding(3))
    assert telling.asks == 3
    other, own = SelfEstimate(2.0, 2, "good"), SelfEstimate(2.0, 3, "fault")
    assert telling.hear(other) == [other]
    assert telling.hear(own) == [own, rep(3), finding(3)]
    assert telling.asks is None


def test_the_next_rep_takes_the_question() -> None:
    telling = Telling()
    telling.hear(block(Role.SWINGS, estimate=True))
    telling.hear(rep(0))
    assert telling.hear(rep(1)) == [rep(0)]
    assert telling.asks == 1


def test_the_end_of_the_session_tells_all() -> None:
    telling = Telling()
    telling.hear(block(Role.BASELINE))
    telling.hear(rep(0))
    assert telling.rest() == [rep(0)]
    assert telling.rest() == []
