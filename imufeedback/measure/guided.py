"""Lessons with virtual players: what the steps of drills count, and how well a screening knows a hip's range."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback import resources
from imufeedback.commands import AnyCommand, BeginBlock, recorded
from imufeedback.live.lesson import ANSWER_S, Lesson, LessonBlock, plan_of
from imufeedback.measure.golfer import items
from imufeedback.pipeline import Pipeline
from imufeedback.records import Event, Hand, Item, Mode, Rep, Role, StepTold
from imufeedback.report.screened import POSITION
from imufeedback.rules.screening import TRIALS, Screening, screen, trial_of
from imufeedback.synth.errors import SensorModel
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.practice import Act, HalfWayStop, HipTurnMotion, make_practice_script
from imufeedback.synth.presets import PRESETS
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN

TYPICAL = PRESETS["typical"]
SIDES, DIRECTIONS = ("trail", "lead"), ("in", "out")


def played(
    blocks: Sequence[LessonBlock],
    script: Script,
    asked: deque[AnyCommand] | None = None,
    model: SensorModel | None = None,
) -> Iterator[Event]:
    """A lesson carried out hands free; what is put into `asked` is obeyed after the present item."""
    asked = deque() if asked is None else asked
    lesson, pipeline = Lesson(blocks, asked.append, wait_s=ANSWER_S, at_fit=True), Pipeline()
    for item in items(script, WORN, model=model):
        waiting: deque[Item] = deque([item])
        while waiting:
            for event in pipeline.feed(waiting.popleft()):
                lesson.hear(event)
                yield event
            waiting.extend(recorded(item.host_ns, one) for one in asked)
            asked.clear()
    yield from pipeline.finish()


# ── steps ────────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Tried:
    """One rep of a drill, and what the step made of it."""

    what: str
    right: bool
    counted: bool


def tries(seed: int) -> list[Tried]:
    """One player's: right and wrong reps of the first step of three drills."""
    rng = np.random.default_rng([seed, 41])
    hand = Hand.RIGHT if seed % 2 else Hand.LEFT
    side = SIDES[seed // 2 % 2]
    turns = [
        ("good", HipTurnMotion(side, rng.uniform(22, 38), rng.uniform(1.7, 2.6))),
        ("too quick", HipTurnMotion(side, rng.uniform(22, 38), rng.uniform(0.7, 1.2))),
        ("knee moves", HipTurnMotion(side, rng.uniform(30, 38), rng.uniform(1.7, 2.6), share=rng.uniform(0.35, 0.6))),
        ("good", HipTurnMotion(side, rng.uniform(22, 38), rng.uniform(1.7, 2.6))),
        ("too slow", HipTurnMotion(side, rng.uniform(22, 38), rng.uniform(6.4, 7.0))),
        ("pelvis tips", HipTurnMotion(side, rng.uniform(22, 38), rng.uniform(1.7, 2.6), tip_deg=rng.uniform(14, 20))),
    ]
    stops = [
        ("good", HalfWayStop(rng.uniform(-5, 5), rng.uniform(-2, 2))),
        ("not square", HalfWayStop(rng.uniform(13, 30))),
        ("not level", HalfWayStop(0.0, rng.choice([-1, 1]) * rng.uniform(7, 10))),
    ]
    drills: tuple[tuple[str, Sequence[tuple[str, Act]], Pace], ...] = (
        (f"hip-turn-{side}", turns, Pace.SLOW),
        ("half-way-stop", stops, Pace.SLOW),
        ("rehearsal-from-the-top", [("too quick", Flaw.NONE)] * 2, Pace.FULL),
        ("rehearsal-from-the-top", [("good", Flaw.NONE)], Pace.SLOW),
    )
    return [one for name, acts, pace in drills for one in _tried(name, acts, hand, pace, seed)]


def _tried(name: str, acts: Sequence[tuple[str, Act]], hand: Hand, pace: Pace, seed: int) -> Iterator[Tried]:
    text = resources.text("drills", name).replace("reps = 3,", "reps = 90,").replace("reps = 5,", "reps = 90,")
    block = LessonBlock(BeginBlock(name, Role.DRILL, Mode.NONE, rule_set=text))
    script = make_practice_script([act for _, act in acts], hand=hand, pace=pace, seed=seed)
    told = [one for one in played([block], script, model=TYPICAL) if isinstance(one, StepTold) and one.rep is not None]
    for (what, _), one in zip(acts, told, strict=False):  # one that was not found did not count
        yield Tried(f"{name}: {what}", what == "good", not one.why)
    for what, _ in acts[len(told) :]:
        yield Tried(f"{name}: {what}", what == "good", counted=False)


# ── screening ────────────────────────────────────────────────────────────────────────────────────────────────────


@dataclass(frozen=True, slots=True)
class Screened:
    """A player whose ranges are known, and what the screening says; degrees."""

    true_deg: dict[tuple[str, str], float]
    found: Screening | None
    """None when it did not come to its end."""


def screened(seed: int) -> Screened:
    """The shipped plan, carried out by a player with typical sensors; sides differ by up to 16 degrees."""
    rng = np.random.default_rng([seed, 42])
    true: dict[tuple[str, str], float] = {}
    for direction in DIRECTIONS:
        middle, apart = rng.uniform(25, 42), rng.uniform(-16, 16)
        true |= {("trail", direction): middle - apart / 2, ("lead", direction): middle + apart / 2}
    acts = [
        HipTurnMotion(side, true[side, direction] * (1 if direction == "in" else -1))
        for side in SIDES for direction in DIRECTIONS for _ in range(TRIALS)
    ]  # fmt: skip
    blocks = plan_of(resources.text("plans", "screening"), "screening")[1]
    script = make_practice_script(acts, hand=Hand.RIGHT if seed % 2 else Hand.LEFT, seed=seed)
    events = [one for one in played(blocks, script, model=TYPICAL) if isinstance(one, StepTold | Rep)]
    over = sum(isinstance(one, StepTold) and one.over == "done" for one in events)
    reps = [one for one in events if isinstance(one, Rep) and not one.void and "standing_hip_range_deg" in one.features]
    found = screen((trial_of(one, "lead" if "lead" in one.kind else "trail") for one in reps), POSITION)
    return Screened(true, found if over == len(blocks) else None)
