"""A plan carried out: one block after the other as reps come, hands free. Knows nothing of Qt and reads no clock."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from imufeedback import resources
from imufeedback.commands import AnyCommand, BeginBlock, Estimate
from imufeedback.records import Angles, BlockBegun, Discarded, Event, Fitted, Mode, Rep, Role, SelfEstimate, StepTold
from imufeedback.rules import parse_rule_set
from imufeedback.rules.plan import Block as Planned
from imufeedback.rules.plan import Plan, parse_plan

NO_ANSWER = "no answer"
"""What stands for an estimate that did not come in time."""
ANSWER_S = 5.0
"""So long an estimate is waited for: time enough for one key, and less than a player takes to the next ball. Chosen, no
source."""
AFTER = BeginBlock("plan done: swing as you like", Role.SWINGS, Mode.NONE)
"""What follows the last block, so that its results are told and later reps do not count as its own."""


@dataclass(frozen=True, slots=True)
class LessonBlock:
    """One block of reps: the command that begins it, and how many reps it has (None: as many as one likes)."""

    command: BeginBlock
    reps: int | None = None
    steps: bool = False
    """Over when the drill's steps are."""

    @property
    def name(self) -> str:
        return self.command.name


def planned(block: Planned) -> LessonBlock:
    """A block of a plan. Raises BadToml for a drill that is not there or cannot be used: not when its block begins, but
    before."""
    kind = "drills" if block.drill in resources.available("drills") else "rules"
    text = resources.text(kind, block.drill)
    parse_rule_set(text, f"block {block.name!r}: {block.drill}.toml")
    return LessonBlock(block.command(text), block.reps, block.steps)


def plan_of(text: str, where: str) -> tuple[Plan, tuple[LessonBlock, ...]]:
    """A plan and its blocks. Raises BadToml."""
    plan = parse_plan(text, where)
    return plan, tuple(planned(block) for block in plan.blocks)


class Lesson:
    """Hears a session and begins its blocks.

    `command` is told what to do, `on_block` which block has begun. With `wait_s` an estimate that has not come by then
    (session time since the rep was told) is answered by `NO_ANSWER`; None leaves that to somebody with a clock. With
    `at_fit` the first block begins as soon as the sensors are calibrated, else by `begin`.
    """

    def __init__(
        self,
        blocks: Sequence[LessonBlock],
        command: Callable[[AnyCommand], None],
        *,
        on_block: Callable[[LessonBlock], None] = lambda block: None,
        wait_s: float | None = None,
        at_fit: bool = False,
    ) -> None:
        self._blocks, self._command, self._on_block = tuple(blocks), command, on_block
        self._wait_s, self._at_fit = wait_s, at_fit
        self._number: int | None = None
        self._reps: set[int] = set()
        """Of this block, that count."""
        self._out: set[int] = set()
        """Reps of any block that were taken out."""
        self._steps_over = False
        self._estimate = False
        self._asked: tuple[int, float] | None = None
        """Rep whose estimate is waited for, and since when."""

    @property
    def over(self) -> bool:
        """All blocks are done."""
        return bool(self._blocks) and self._number is not None and self._number >= len(self._blocks)

    def begin(self) -> None:
        """The first block."""
        if self._number is None:
            self._move_to(0)

    def hear(self, event: Event) -> None:
        """An event of the session."""
        match event:
            case Fitted() if self._at_fit:
                self.begin()
            case BlockBegun(estimate=estimate):
                self._estimate = estimate
            case Rep(void="", index=index):
                self._asked = (index, event.end_s) if self._estimate else None
                if self._number is not None:
                    self._reps.add(index)
                self._go_on()
            case Discarded(rep=rep, on=on):
                (self._out.add if on else self._out.discard)(rep)
                self._go_on()
            case StepTold(over=over) if over:
                self._steps_over = True
                self._go_on()
            case SelfEstimate(rep=rep) if self._asked is not None and self._asked[0] == rep:
                self._asked = None
                self._go_on()
            case Angles(t_s=t_s) if len(t_s):
                self._time_out(t_s.item(-1))

    def _go_on(self) -> None:
        """To the next block when this one has its reps, the last one's estimate included."""
        if self._number is None or self._number >= len(self._blocks) or self._asked is not None:
            return
        block = self._blocks[self._number]
        if (block.reps is not None and len(self._reps - self._out) >= block.reps) or (block.steps and self._steps_over):
            self._move_to(self._number + 1)

    def _move_to(self, number: int) -> None:
        self._number, self._reps, self._steps_over = number, set(), False
        if number < len(self._blocks):
            block = self._blocks[number]
            self._on_block(block)
            self._command(block.command)
        elif self._blocks:
            self._command(AFTER)

    def _time_out(self, now_s: float) -> None:
        if self._asked is not None and self._wait_s is not None and now_s - self._asked[1] > self._wait_s:
            self._command(Estimate(self._asked[0], NO_ANSWER))
            self._asked = self._asked[0], now_s  # not again before it has been heard


class Attended:
    """A sink: a plan carried out hands free, from the calibration on, for a practice that is named by `attend`."""

    def __init__(self, blocks: Sequence[LessonBlock], *, wait_s: float = ANSWER_S) -> None:
        self._blocks, self._wait_s = tuple(blocks), wait_s
        self._lesson: Lesson | None = None

    def attend(self, command: Callable[[AnyCommand], None]) -> None:
        """The practice takes commands here."""
        self._lesson = Lesson(self._blocks, command, wait_s=self._wait_s, at_fit=True)

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            if self._lesson is not None:
                self._lesson.hear(event)
