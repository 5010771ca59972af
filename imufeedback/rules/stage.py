"""Runs a rule set over finished reps."""

from __future__ import annotations

from imufeedback.records import Finding, Rep, Verdict
from imufeedback.rules.rule import Outcome, Rule
from imufeedback.rules.ruleset import RuleSet
from imufeedback.stage import Stage


class Rules(Stage[Rep, Finding]):
    """Findings of every rule that a rep does not meet, in the order of the rule set. Keeps nothing between reps."""

    def __init__(self, rule_set: RuleSet) -> None:
        self._rules = rule_set.rules
        self._state = None

    def feed(self, item: Rep) -> list[Finding]:
        """A void rep has no findings. When a check of form fails, the range behind it says nothing: only other checks
        of form are still made."""
        if item.void:
            return []
        out: list[Finding] = []
        lost_form = False
        for rule in self._rules:
            outcome = rule.check(item) if rule.form or not lost_form else None
            if outcome is not None:
                lost_form |= rule.form and outcome.verdict is Verdict.FAULT
                out.append(_finding(rule, item, outcome))
        return out


def _finding(rule: Rule, rep: Rep, outcome: Outcome) -> Finding:
    return Finding(
        rule.id,
        rep.index,
        outcome.t_s,
        outcome.value,
        rule.limit,
        str(rule.unit),
        outcome.verdict,
        rule.text,
        str(rule.cue),
        outcome.sd,
        rule.short,
        rule.drill,
    )
