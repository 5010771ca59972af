"""What the virtual golfer does for a plan: swings, hip turns and held positions, as the drill of each block asks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from imufeedback.live.lesson import LessonBlock
from imufeedback.rules import parse_rule_set
from imufeedback.rules.drill import Drill, DrillStep
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.practice import Act, HalfWayStop, HipTurnMotion

RANGE_DEG = {("trail", "in"): 36.0, ("trail", "out"): 33.0, ("lead", "in"): 28.0, ("lead", "out"): 34.0}
"""How far this golfer's hips turn, by side and direction: the lead hip is tight inward. Chosen, no source."""
UNHURRIED = 1.3
"""Times the least time of a step."""
FINISH_DEG = 75.0


def performed(blocks: Sequence[LessonBlock], flaw: Flaw) -> tuple[Act, ...]:
    """Of all blocks in their order; `flaw` is that of the swings. A block that ends with its steps gets as many good
    reps as those ask for."""
    return tuple(act for block in blocks for act in _block(block, flaw))


def _block(block: LessonBlock, flaw: Flaw) -> Iterator[Act]:
    text = block.command.rule_set
    drill = parse_rule_set(text, block.name).drill if text else None
    if drill is None or not drill.steps:
        yield from [flaw] * (block.reps or 0)
        return
    each = [step for step in drill.steps for _ in range(step.reps)]
    wanted = len(each) if block.steps or block.reps is None else block.reps
    for k in range(wanted):
        yield _rep(drill, each[k % len(each)], flaw)


def _rep(drill: Drill, step: DrillStep, flaw: Flaw) -> Act:
    if drill.detect == "hip-turn":
        inward = step.direction != "out"
        angle = RANGE_DEG[drill.side, "in" if inward else "out"]
        lasts_s = min(UNHURRIED * max(step.least_s, 2.0), step.most_s)
        return HipTurnMotion(drill.side, angle if inward else -angle, (lasts_s - 0.3) / 2)
    if drill.detect == "hold" and drill.hold is not None:
        return HalfWayStop(FINISH_DEG if drill.hold.at_least_deg > 0 else 0.0, hold_s=drill.hold.hold_s + 1.0)
    return flaw
