"""Practice as a coach runs it: a plan carried out hands off, limits that stay, and the cause before the symptom."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from imufeedback import resources, shipped
from imufeedback.live.lesson import AFTER
from imufeedback.measure.checks import Band, Context, Measured, Step, exactly
from imufeedback.measure.golfer import play
from imufeedback.measure.practice import VALUE, carried_out
from imufeedback.records import Finding, Hand, Verdict
from imufeedback.rules import parse_rule_set
from imufeedback.rules.cause import causes_of, parse_causes
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script

CAUSES = {
    Flaw.PUSH_BACK: "pushes-back",
    Flaw.STALL: "stalls",
    Flaw.HIGH_KNEE: "knee-stays-up",
    Flaw.LEG_TURN: "one-block",
    Flaw.BACK_BLOCK: "block-on-the-way-back",
    Flaw.LATE_LEVEL: "levels-at-the-wrong-time",
    Flaw.SITTING: "stays-sitting",
    Flaw.STIFF_KNEES: "knees-do-not-trade",
    Flaw.KNEE_GIVE: "lead-knee-gives",
}
"""What each flaw of the synthetic golfer is, by the table of causes."""
QUICK = (Flaw.PUSH_BACK, Flaw.STALL, Flaw.HIGH_KNEE)
AT_LEAST = Band(95, None)


def lessons(context: Context) -> Iterator[Measured]:
    """A plan with a baseline, a block in which the player says first what he thinks, and a test; nobody presses a
    key."""
    wrong = leaks = early = lost = limits = 0
    for hand in Hand:
        context.say(f"{hand}-handed")
        told, blocks = carried_out(hand, Flaw.PUSH_BACK, context.seed)
        wanted = [*(one.name for one in blocks), AFTER.name]
        wrong += told.blocks != wanted
        leaks, early = leaks + told.leaks, early + told.early
        asked = sum(one.reps or 0 for one in blocks if one.command.estimate)
        lost += abs(asked - told.estimates) + abs(asked - told.after_estimate)
        limits += not told.limits or any(one != VALUE for one in told.limits)
    yield Measured("lessons whose blocks did not follow each other by themselves", wrong, exactly(0), "lessons")
    yield Measured("results of baseline and test shown or heard before their end", leaks, exactly(0), "results")
    yield Measured("results shown or heard before the player's own call", early, exactly(0), "results")
    yield Measured("calls that did not time out, or whose result did not come then", lost, exactly(0), "reps")
    yield Measured("lessons in which a changed limit did not survive the blocks", limits, exactly(0), "lessons")


def causes(context: Context) -> Iterator[Measured]:
    """The first cause of a rep against the flaw that the golfer really had; perfect sensors, shanks too."""
    table, right, total = parse_causes(resources.text("causes", "standard"), "standard"), 0, 0
    clean = 0
    for hand in Hand:
        for pace in (Pace.SLOW, Pace.FULL):
            for flaw in (Flaw.NONE, *(QUICK if context.quick else CAUSES)):
                context.say(f"{flaw}, {hand}, {pace}")
                played = play(make_script(hand=hand, pace=pace, flaw=flaw, reps=1, seed=context.seed))
                for rep in played.reps:
                    found = [one.id for one in causes_of(table, played.findings(rep), rep.features)]
                    first = found[0] if found else None
                    clean += flaw is Flaw.NONE and first is not None
                    if flaw is not Flaw.NONE:
                        right, total = right + (first == CAUSES[flaw]), total + 1
                        row = {"flaw": str(flaw), "hand": str(hand), "pace": str(pace), "causes": found}
                        context.rows.append({"set": "practice", **row})
    yield Measured("flaws whose cause is named first", 100 * right / max(total, 1), AT_LEAST, "%")
    yield Measured("flawless reps for which a cause is named", clean, exactly(0), "reps")


def ends(context: Context) -> Iterator[Measured]:
    """Every rule that ships, alone."""
    dead = 0
    for kind in ("rules", "drills"):
        for text in resources.shipped(kind):
            for rule in parse_rule_set(text, kind).rules:
                found = [Finding(rule.id, 0, 0.0, rule.limit, rule.limit, str(rule.unit), Verdict.FAULT, "", "", 0.0)]
                first = next(iter(causes_of(shipped.causes(), found, {})), None)
                there = first is not None and first.drill in resources.available("drills")
                dead += first is None or not first.text or not there
    yield Measured("rules that lead to no sentence and no drill", dead, exactly(0), "rules")


STEPS: Sequence[Step] = (
    Step("lessons, hands off", lessons),
    Step("causes", causes),
    Step("where rules lead", ends),
)
