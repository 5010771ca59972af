"""Runs a rule set over finished reps."""

from __future__ import annotations

from dataclasses import dataclass, field

from imufeedback.records import Finding, Rep, Role, Unjudged, Verdict
from imufeedback.rules import lacks
from imufeedback.rules.rule import Outcome, Rule
from imufeedback.rules.ruleset import RuleSet
from imufeedback.stage import Stage


@dataclass
class _Memory:
    """What it keeps between reps."""

    baseline: bool = False
    """The reps that come are the player's baseline."""
    own: dict[str, list[dict[str, float]]] = field(default_factory=dict)
    """Features of the baseline's reps, by the kind of rep: a rehearsal is compared with rehearsals."""


class Rules(Stage[Rep, Finding | Unjudged]):
    """Findings of every rule that a rep does not meet, and what is said of rules that could not be judged, in the order
    of the rule set. Between reps it keeps the player's baseline."""

    def __init__(self, rule_set: RuleSet) -> None:
        self._rules = rule_set.rules
        self._state = _Memory()

    def use(self, rule_set: RuleSet) -> None:
        """From the next rep on. The baseline stays."""
        self._rules = rule_set.rules

    def begin(self, role: Role) -> None:
        """A block begins. A baseline replaces the one before as soon as it has a rep of the same kind."""
        self._state.baseline = role is Role.BASELINE
        if self._state.baseline:
            self._state.own = {}

    def feed(self, item: Rep) -> list[Finding | Unjudged]:
        """A void rep has no findings. When a check of form fails, the range behind it says nothing: only other checks
        of form are still made."""
        if item.void:
            return []
        if self._state.baseline:
            self._state.own.setdefault(item.kind, []).append(dict(item.features))
        out: list[Finding | Unjudged] = []
        lost_form = False
        for rule in self._rules:
            if lost_form and not rule.form:
                continue
            told = self._judged(rule, item)
            if told is not None:
                out.append(told)
                lost_form |= rule.form and isinstance(told, Finding) and told.verdict is Verdict.FAULT
        return out

    def _judged(self, rule: Rule, rep: Rep) -> Finding | Unjudged | None:
        unmeasured = lacks.unmeasured(rule, rep)
        if unmeasured is not None:
            return unmeasured
        before = self._state.own.get(rep.kind, [])
        if not self._state.baseline:
            rule = rule.compared(_values(rule.feature, before))
        if rule.waits:
            return lacks.no_limit(rule, rep, len(before), taking=self._state.baseline)
        outcome = rule.check(rep)
        return None if outcome is None else _finding(rule, rep, outcome)


def _values(feature: str, reps: list[dict[str, float]]) -> list[float]:
    return [one[feature] for one in reps if feature in one]


def _finding(rule: Rule, rep: Rep, outcome: Outcome) -> Finding:
    return Finding(
        rule.id,
        rep.index,
        outcome.t_s,
        outcome.value,
        rule.limit if outcome.limit is None else outcome.limit,
        str(rule.unit),
        outcome.verdict,
        rule.text,
        str(rule.cue),
        outcome.sd,
        rule.short,
        rule.drill,
        rule.basis,
        outcome.least,
    )
