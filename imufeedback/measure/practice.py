"""A plan carried out by a virtual golfer, hands off: what was begun, what was told, and when."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

from imufeedback.commands import AnyCommand, SetLimit
from imufeedback.cues.telling import UNTOLD, Telling
from imufeedback.live.lesson import LessonBlock, plan_of
from imufeedback.measure.guided import played
from imufeedback.records import (
    BlockBegun,
    Cue,
    Event,
    Finding,
    Hand,
    LimitChanged,
    Motion,
    Rep,
    SelfEstimate,
    StateChanged,
    Tone,
)
from imufeedback.sounds import Sound
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script

PLAN = """
format = 1
name = "measured"
title = "Baseline, own call first, test"
[[blocks]]
name = "baseline"
role = "baseline"
drill = "full-swings"
reps = 2
mode = "none"
[[blocks]]
name = "own call first"
role = "swings"
drill = "full-swings"
reps = 2
mode = "after-rep"
estimate = true
[[blocks]]
name = "test"
role = "test"
drill = "full-swings"
reps = 1
mode = "none"
"""
"""The shapes of block that the standard plan has, in as few reps as show them."""
RESULTS = (Sound.STALLED, Sound.REGAINING, Sound.TARGET_REACHED)
"""Sounds that say how a rep was."""
LIMIT, VALUE = "trail-thigh-keeps-falling", 9.0
"""Changed by the coach during the baseline."""


@dataclass
class LessonOutcome:
    """What came of one lesson."""

    blocks: list[str] = field(default_factory=list)
    reps: int = 0
    """In blocks of the plan."""
    leaks: int = 0
    """Results of a baseline or test that were shown or heard before it was over."""
    early: int = 0
    """Results that came before the estimate of their rep."""
    estimates: int = 0
    after_estimate: int = 0
    """Result sounds that came with the answer, or with its time running out."""
    limits: list[float] = field(default_factory=list)
    """Of the rule whose limit was changed, in findings after the change."""


def carried_out(
    hand: Hand, flaw: Flaw, seed: int, *, pace: Pace = Pace.SLOW
) -> tuple[LessonOutcome, Sequence[LessonBlock]]:
    """The plan, from the calibration to its end; nobody presses a key."""
    blocks = plan_of(PLAN, "plan")[1]
    script = make_script(hand=hand, pace=pace, flaw=flaw, reps=sum(one.reps or 0 for one in blocks), seed=seed)
    asked: deque[AnyCommand] = deque()
    hearer = _Hearer()
    for event in played(blocks, script, asked):
        hearer.hear(event)
        if isinstance(event, BlockBegun) and len(hearer.told.blocks) == 1:
            asked.append(SetLimit(LIMIT, VALUE))
    return hearer.told, blocks


class _Hearer:
    """Looks at what is shown and heard, and whether it was due."""

    def __init__(self) -> None:
        self.told = LessonOutcome()
        self._telling = Telling()
        self._untold = False
        self._asked: set[int] = set()
        """Reps of a block in which the player says first what he thinks."""
        self._answered: set[int] = set()
        self._estimate = self._changed = False

    def hear(self, event: Event) -> None:
        self._heard(event)
        for shown in self._telling.hear(event):
            self._shown(shown)

    def _heard(self, event: Event) -> None:
        told = self.told
        match event:
            case BlockBegun():
                told.blocks.append(event.name)
                self._untold = event.role in UNTOLD
                self._estimate = event.estimate
            case Rep(void="", index=index):
                told.reps += bool(told.blocks)
                if self._estimate:
                    self._asked.add(index)
            case SelfEstimate(rep=rep):
                told.estimates += 1
                self._answered.add(rep)
            case Cue(sound=sound, rep=rep) if sound in RESULTS:
                told.leaks += self._untold
                told.early += rep in self._asked - self._answered
                told.after_estimate += rep in self._answered
            case Tone():
                told.leaks += self._untold
            case LimitChanged():
                self._changed = True
            case Finding(rule=rule, limit=limit) if rule == LIMIT and self._changed:
                told.limits.append(limit)

    def _shown(self, event: Event) -> None:
        match event:
            case Rep(void="") | Finding():
                self.told.leaks += self._untold
                index = event.index if isinstance(event, Rep) else event.rep
                self.told.early += index in self._asked - self._answered
            case StateChanged(state=state) if state is not Motion.IDLE:
                self.told.leaks += self._untold
                self.told.early += self._estimate
