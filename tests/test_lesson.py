"""A plan carried out hands free: blocks follow their reps, and an estimate that does not come is not waited for."""

from __future__ import annotations

import numpy as np

from imufeedback.commands import AnyCommand, BeginBlock, Estimate
from imufeedback.live.lesson import AFTER, ANSWER_S, NO_ANSWER, Lesson, LessonBlock
from imufeedback.records import Angles, BlockBegun, Discarded, Mode, PelvisAngles, Rep, Role, SelfEstimate

ONE = LessonBlock(BeginBlock("one", Role.BASELINE, Mode.NONE), 2)
GUESS = LessonBlock(BeginBlock("guess", Role.SWINGS, Mode.AFTER_REP, estimate=True), 1)
ENDLESS = LessonBlock(BeginBlock("more", Role.SWINGS))


def rep(index: int, end_s: float = 1.0, void: str = "") -> Rep:
    return Rep(index, "swing", end_s - 1, end_s, {}, (), {}, void)


def begun(block: LessonBlock) -> BlockBegun:
    one = block.command
    return BlockBegun(0.0, one.name, one.role, "swing", one.mode, one.share, one.estimate)


def angles(t_s: float) -> Angles:
    nothing = np.zeros((1, 3))
    t = np.array([t_s])
    return Angles(t, PelvisAngles(t, nothing, nothing, nothing, nothing == 0), ())


def lesson(*blocks: LessonBlock, wait_s: float | None = ANSWER_S) -> tuple[Lesson, list[AnyCommand]]:
    asked: list[AnyCommand] = []
    made = Lesson(blocks, asked.append, wait_s=wait_s)
    made.begin()
    return made, asked


def test_blocks_follow_their_reps_and_void_ones_take_no_turn() -> None:
    made, asked = lesson(ONE, ENDLESS)
    for one in (rep(0), rep(1, void="lost"), rep(2), *(rep(k) for k in range(3, 60))):
        made.hear(one)
    assert asked == [ONE.command, ENDLESS.command]


def test_a_rep_that_was_taken_out_is_done_once_more() -> None:
    made, asked = lesson(ONE, ENDLESS)
    for one in (rep(0), Discarded(1.5, 0, on=True), rep(1)):
        made.hear(one)
    assert asked == [ONE.command]
    made.hear(Discarded(2.0, 0, on=False))
    assert asked == [ONE.command, ENDLESS.command]


def test_after_the_last_block_its_results_can_be_told() -> None:
    made, asked = lesson(ONE)
    for k in range(5):
        made.hear(rep(k))
    assert asked == [ONE.command, AFTER]


def test_a_block_waits_for_the_estimate_of_its_last_rep() -> None:
    made, asked = lesson(GUESS, ENDLESS)
    made.hear(begun(GUESS))
    made.hear(rep(0))
    assert asked == [GUESS.command]
    made.hear(SelfEstimate(2.0, 0, "good"))
    assert asked == [GUESS.command, ENDLESS.command]


def test_an_estimate_that_does_not_come_times_out_once() -> None:
    made, asked = lesson(GUESS, ENDLESS)
    made.hear(begun(GUESS))
    made.hear(rep(0, end_s=5.0))
    made.hear(angles(5.0 + ANSWER_S - 0.1))
    assert asked == [GUESS.command]
    for late_s in (0.1, 0.2, 0.3):
        made.hear(angles(5.0 + ANSWER_S + late_s))
    assert asked[1:] == [Estimate(0, NO_ANSWER)]
    made.hear(SelfEstimate(14.0, 0, NO_ANSWER))
    assert asked[-1] == ENDLESS.command


def test_without_a_clock_of_its_own_somebody_else_times_out() -> None:
    made, asked = lesson(GUESS, wait_s=None)
    made.hear(begun(GUESS))
    made.hear(rep(0))
    made.hear(angles(99.0))
    assert asked == [GUESS.command]
