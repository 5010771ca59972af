"""What is said first of drawn reps whose flaws are known, after a baseline of the player's own."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from imufeedback import shipped
from imufeedback.measure.drawn_flaws import DrawnFlaw, made
from imufeedback.measure.drawn_reps import reps_of
from imufeedback.measure.rule_limits import Before, after
from imufeedback.rules import RuleSet
from imufeedback.rules.cause import causes_of


@dataclass(frozen=True, slots=True)
class Told:
    """Of one rep."""

    causes: tuple[str, ...]
    """The weightiest first."""
    drills: tuple[str, ...]
    rules: frozenset[str]
    """Of all findings, unsure ones too."""


def told(before: Before, rules: RuleSet, flaws: Sequence[tuple[DrawnFlaw, float]]) -> Iterator[Told]:
    """Players whose trail thigh falls as coaches describe, but for these flaws; those whose legs reach the ground."""
    moved = made(before.swung, flaws, falls=True)
    for rep, baseline, there in zip(reps_of(moved, rules), before.falls, moved.stands, strict=True):
        if there:
            findings = after(rules, baseline, rep)
            causes = causes_of(shipped.causes(), findings, rep.features)
            yield Told(
                tuple(one.id for one in causes),
                tuple(one.drill for one in causes),
                frozenset(one.rule for one in findings),
            )
