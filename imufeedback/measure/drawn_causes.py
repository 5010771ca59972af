"""What is said first of drawn reps whose flaws are known, after a baseline of the player's own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from imufeedback import shipped
from imufeedback.measure.drawn_flaws import DrawnFlaw, made
from imufeedback.measure.drawn_reps import reps_of
from imufeedback.measure.rule_limits import Before, accustomed, found
from imufeedback.rules import RuleSet
from imufeedback.rules.cause import causes_of


@dataclass(frozen=True, slots=True)
class RepCauses:
    """Of one rep."""

    causes: tuple[str, ...]
    """The weightiest first."""
    drills: tuple[str, ...]
    rules: frozenset[str]
    """Of all findings, unsure ones too."""


def told(before: Before, rules: RuleSet, flaws: Sequence[tuple[DrawnFlaw, float]]) -> Iterator[RepCauses | None]:
    """Players whose trail thigh falls as coaches describe, but for these flaws; None for one whose legs do not reach
    the ground then."""
    moved = made(before.swung, flaws, falls=True)
    for rep, baseline, there in zip(reps_of(moved, rules), before.falls, moved.stands, strict=True):
        if not there:
            yield None
            continue
        judge = accustomed(rules, baseline)
        findings, features = found(judge, rep), judge.compared(rep).features
        causes = causes_of(shipped.causes(), findings, features)
        yield RepCauses(
            tuple(one.id for one in causes),
            tuple(one.drill for one in causes),
            frozenset(one.rule for one in findings),
        )
