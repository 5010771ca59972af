"""Runs a rule set over finished reps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from imufeedback.records import Finding, Rep, Role, Unjudged, Verdict
from imufeedback.rules import lacks
from imufeedback.rules.baseline import LEAST_REPS, over_own
from imufeedback.rules.rule import Rule, RuleOutcome
from imufeedback.rules.ruleset import RuleSet
from imufeedback.settings import EarlierBaseline
from imufeedback.stage import Stage


@dataclass
class _Memory:
    """What it keeps between reps."""

    baseline: bool = False
    """The reps that come are the player's baseline."""
    own: dict[str, list[tuple[int, dict[str, float]]]] = field(default_factory=dict)
    """Numbers and features of the baseline's reps, by their kind: a rehearsal is compared with rehearsals."""
    discarded: set[int] = field(default_factory=set)
    """Reps that do not count."""


class Rules(Stage[Rep, Finding | Unjudged]):
    """Findings of every rule that a rep does not meet, and what is said of rules that could not be judged, in the order
    of the rule set. Between reps it keeps the player's baseline."""

    def __init__(self, rule_set: RuleSet, earlier: EarlierBaseline | None = None) -> None:
        """`earlier` stands in for a baseline until this session has one of the same kind of rep."""
        self._rules = rule_set.rules
        self._earlier = earlier
        self._state = _Memory()

    def use(self, rule_set: RuleSet) -> None:
        """From the next rep on. The baseline stays."""
        self._rules = rule_set.rules

    def begin(self, role: Role) -> None:
        """A block begins. A baseline replaces the one before as soon as it has a rep of the same kind."""
        self._state.baseline = role is Role.BASELINE
        if self._state.baseline:
            self._state.own = {}

    def discard(self, rep: int, *, on: bool) -> None:
        """A rep does not count, or does again: from the next one on nothing is compared with it."""
        (self._state.discarded.add if on else self._state.discarded.discard)(rep)

    def compared(self, rep: Rep) -> Rep:
        """With what its features are above the player's own, for the causes; a rep of the baseline as it is."""
        if rep.void or self._state.baseline:
            return rep
        before, _ = self._before(rep.kind)
        return replace(rep, features={**rep.features, **dict(over_own(rep.features, before))})

    def feed(self, item: Rep) -> list[Finding | Unjudged]:
        """A void rep has no findings. When a check of form fails, the range behind it says nothing: only other checks
        of form are still made."""
        if item.void:
            return []
        if self._state.baseline:
            self._state.own.setdefault(item.kind, []).append((item.index, dict(item.features)))
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
        before, origin = self._before(rep.kind)
        if not self._state.baseline:
            rule = rule.compared(_values(rule.feature, before))
        if rule.waits:
            return lacks.no_limit(rule, rep, len(before), taking=self._state.baseline)
        outcome = rule.check(rep)
        return (
            None if outcome is None else _finding(rule, rep, outcome, f"Your own baseline: {len(before)} reps{origin}.")
        )

    def _before(self, kind: str) -> tuple[Sequence[Mapping[str, float]], str]:
        """Reps to compare with, and where they are from: this session's, or while those are too few, earlier ones."""
        now = [one for rep, one in self._state.own.get(kind, []) if rep not in self._state.discarded]
        earlier = () if self._earlier is None else self._earlier.reps.get(kind, ())
        if len(now) >= LEAST_REPS or len(earlier) < LEAST_REPS or self._earlier is None:
            return now, ""
        return earlier, f" of {self._earlier.origin}"


def _values(feature: str, reps: Sequence[Mapping[str, float]]) -> list[float]:
    return [one[feature] for one in reps if feature in one]


def _finding(rule: Rule, rep: Rep, outcome: RuleOutcome, own: str) -> Finding:
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
        own if outcome.by_own else rule.basis,
        outcome.least,
    )
