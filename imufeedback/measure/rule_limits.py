"""How each rule's feature lies in drawn players, without its flaw and with each grade of it, and what the rule says."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.measure.drawn_flaws import FLAWS, GRADES, DrawnFlaw, made
from imufeedback.measure.drawn_reps import reps_of
from imufeedback.records import Finding, Floats, Rep, Role, Verdict
from imufeedback.rules import Rules, RuleSet
from imufeedback.synth.drawn import Drawn, reps
from imufeedback.synth.grounded import RepCourses, moves

BASELINE_REPS = 10
PUBLISHED, FALLING = "as published", "falling as coached"
CENTILES = (1, 5, 50, 95, 99)


@dataclass(frozen=True, slots=True)
class RuleShares:
    """One rule on players with one grade of a flaw, or without it."""

    flaw: DrawnFlaw
    grade: str
    values: Floats
    """(N,) of the rule's feature; those that have it."""
    alone: tuple[float, float]
    """Percent of reps called a fault, and unsure, of players without a baseline …"""
    own: tuple[float, float]
    """… and after one of `BASELINE_REPS` reps."""


@dataclass(frozen=True, slots=True)
class Before:
    """Drawn players with a rep each to be judged, and their baselines."""

    swung: Drawn
    baselines: Sequence[Sequence[Rep]]
    falls: Sequence[Sequence[Rep]]
    """Baselines of the same players with a trail thigh that falls as coaches describe."""

    @classmethod
    def of(cls, rng: np.random.Generator, drawn: Drawn, rules: RuleSet) -> Before:
        each = BASELINE_REPS + 1
        swung = reps(rng, drawn, each)
        last = np.arange(len(swung)) % each == BASELINE_REPS
        before = swung.chosen(np.flatnonzero(~last))
        return cls(
            swung.chosen(np.flatnonzero(last)),
            _grouped(list(reps_of(moves(before), rules))),
            _grouped(list(reps_of(made(before, (), falls=True), rules))),
        )


def _grouped(all_of_them: Sequence[Rep]) -> list[Sequence[Rep]]:
    return [all_of_them[k : k + BASELINE_REPS] for k in range(0, len(all_of_them), BASELINE_REPS)]


def seen(before: Before, rules: RuleSet, flaws: Sequence[DrawnFlaw] = FLAWS) -> Iterator[RuleShares]:
    """Players as published first, those whose trail thigh falls as coaches describe where they are what is compared
    with, then the grades from slight to gross."""
    for flaw in flaws:
        yield _judged(before.baselines, rules, flaw, PUBLISHED, moves(before.swung))
        baselines = before.falls if flaw.falls else before.baselines
        if flaw.falls:
            yield _judged(baselines, rules, flaw, FALLING, made(before.swung, (), falls=True))
        for grade, size in zip(GRADES, flaw.sizes, strict=True):
            yield _judged(baselines, rules, flaw, grade, made(before.swung, [(flaw, size)], falls=flaw.falls))


def _judged(
    baselines: Sequence[Sequence[Rep]], rules: RuleSet, flaw: DrawnFlaw, grade: str, moved: RepCourses
) -> RuleShares:
    """Of the players whose legs still reach the ground."""
    rule = next(one for one in rules.rules if one.id == flaw.rule)
    alone, own, values = [], [], []
    for rep, baseline, there in zip(reps_of(moved, rules), baselines, moved.stands, strict=True):
        if there:
            values.append(rep.features[rule.feature])
            alone.append(_said(flaw.rule, after(rules, (), rep)))
            own.append(_said(flaw.rule, after(rules, baseline, rep)))
    return RuleShares(flaw, grade, np.array(values), _shares(alone), _shares(own))


def after(rules: RuleSet, baseline: Sequence[Rep], rep: Rep) -> list[Finding]:
    """Findings of a rep that comes after this baseline."""
    return found(accustomed(rules, baseline), rep)


def accustomed(rules: RuleSet, baseline: Sequence[Rep]) -> Rules:
    """Rules that know this baseline."""
    judge = Rules(rules)
    judge.begin(Role.BASELINE)
    for one in baseline:
        judge.feed(one)
    judge.begin(Role.SWINGS)
    return judge


def found(judge: Rules, rep: Rep) -> list[Finding]:
    """Findings of a rep."""
    return [one for one in judge.feed(rep) if isinstance(one, Finding)]


def _said(rule: str, findings: Sequence[Finding]) -> Verdict | None:
    return next((one.verdict for one in findings if one.rule == rule), None)


def _shares(said: Sequence[Verdict | None]) -> tuple[float, float]:
    many = max(len(said), 1)
    return 100 * said.count(Verdict.FAULT) / many, 100 * said.count(Verdict.UNSURE) / many
