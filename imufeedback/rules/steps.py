"""How a player goes up the steps of a drill: counts good reps, checks form and pace, moves on, back, or stops.

A rep counts when its direction, its pace and its form are those of the step. Form is what the drill's checks of form
say, where it has any, else all its rules; a check of form that is unsure does not count either: a step is worth nothing
with a knee that may have moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from imufeedback.records import Finding, Rep, StepTold, Unjudged, Verdict
from imufeedback.rules.drill import DrillStep
from imufeedback.rules.ruleset import RuleSet
from imufeedback.stage import Stage

DONE, STOPPED = "done", "stopped"


@dataclass(frozen=True, slots=True)
class StepRep:
    """A rep with what its rules found."""

    rep: Rep
    findings: Sequence[Finding | Unjudged]


@dataclass
class _Memory:
    number: int = 0
    good: int = 0
    missed: int = 0
    """Reps in a row that did not count."""
    over: str = ""
    begun: int = 0
    """Step that the coach chose last; from there on …"""
    tried: list[tuple[int, bool]] = field(default_factory=list)
    """… every rep that was looked at, and whether it counted …"""
    discarded: set[int] = field(default_factory=set)
    """… but for those that were taken out since."""


class Steps(Stage[StepRep, StepTold]):
    """The steps of one drill, from its first one on."""

    def __init__(self, rule_set: RuleSet) -> None:
        assert rule_set.drill is not None  # whoever has steps is a drill
        self._drill = rule_set.drill
        self._form = frozenset(rule.id for rule in rule_set.rules if rule.form)
        self._state = _Memory()

    def begun(self, t_s: float) -> StepTold:
        """Where it begins, and after a change by hand."""
        return self._told(t_s)

    def go(self, t_s: float, number: int) -> StepTold:
        """The coach's choice of a step, from 0; beyond the last one all are done."""
        number = min(max(number, 0), len(self._drill.steps))
        self._state = _Memory(number, over=DONE if number == len(self._drill.steps) else "", begun=number)
        return self._told(t_s)

    def feed(self, item: StepRep) -> list[StepTold]:
        s, rep = self._state, item.rep
        if s.over or rep.void:
            return []
        step = self._drill.steps[s.number]
        if step.direction and not rep.kind.endswith(f" {step.direction}"):
            return [self._told(rep.end_s, rep.index, f"This step turns {step.direction}ward only.")]
        why = self._pace(step, rep) or self._shape(item.findings)
        s.tried.append((rep.index, not why))
        self._take(counts=not why)
        return [self._told(rep.end_s, rep.index, why)]

    def discard(self, t_s: float, rep: int, *, on: bool) -> list[StepTold]:
        """A rep is taken out, or back in: the steps stand where the others have brought them. Nothing for a rep of
        another block, or from before the coach chose a step."""
        s = self._state
        if all(rep != index for index, _ in s.tried):
            return []
        (s.discarded.add if on else s.discarded.discard)(rep)
        s.number, s.good, s.missed, s.over = s.begun, 0, 0, ""
        for index, counts in s.tried:
            if index not in s.discarded and not s.over:
                self._take(counts=counts)
        return [self._told(t_s)]

    def _take(self, *, counts: bool) -> None:
        self._count(self._drill.steps[self._state.number]) if counts else self._miss()

    def _count(self, step: DrillStep) -> None:
        s = self._state
        s.good, s.missed = s.good + 1, 0
        if s.good >= step.reps:
            s.number, s.good = s.number + 1, 0
            s.over = DONE if s.number == len(self._drill.steps) else ""

    def _miss(self) -> None:
        s = self._state
        s.missed += 1
        if s.missed >= self._drill.stop_after:
            s.over = STOPPED
        elif s.missed % self._drill.back_after == 0 and s.number > 0:
            s.number, s.good = s.number - 1, 0

    def _pace(self, step: DrillStep, rep: Rep) -> str:
        lasted_s = rep.features.get("there_and_back_s", rep.end_s - rep.start_s)
        if lasted_s < step.least_s:
            return f"Slower: take at least {step.least_s:g} s."
        return f"Quicker: take {step.most_s:g} s at most." if lasted_s > step.most_s else ""

    def _shape(self, findings: Sequence[Finding | Unjudged]) -> str:
        for one in findings:
            if not isinstance(one, Finding) or (self._form and one.rule not in self._form):
                continue
            if one.verdict is Verdict.FAULT:
                return one.text
            if one.rule in self._form:
                return f"Not sure enough to count. {one.text}"
        return ""

    def _told(self, t_s: float, rep: int | None = None, why: str = "") -> StepTold:
        s, steps = self._state, self._drill.steps
        step = steps[min(s.number, len(steps) - 1)]
        text = {
            DONE: "All steps are done.",
            STOPPED: f"Stop this drill for today: {s.missed} in a row did not count. Ask your coach.",
        }.get(s.over, step.text)
        return StepTold(t_s, s.number, len(steps), step.name, s.good, step.reps, text, step.still, rep, why, s.over)
