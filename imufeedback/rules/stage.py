"""Runs a rule set over finished reps."""

from __future__ import annotations

from imufeedback.records import Finding, Rep
from imufeedback.rules.kinds import kind
from imufeedback.rules.ruleset import RuleSet
from imufeedback.stage import Stage


class Rules(Stage[Rep, Finding]):
    """Findings of every rule that a rep does not meet, in the order of the rule set. Keeps nothing between reps."""

    def __init__(self, rule_set: RuleSet) -> None:
        self._checks = [(rule, kind(rule.kind)) for rule in rule_set.rules]
        self._state = None

    def feed(self, item: Rep) -> list[Finding]:
        out = []
        for rule, check in self._checks:
            outcome = check(rule, item)
            if outcome is not None:
                out.append(
                    Finding(
                        rule.id,
                        item.index,
                        outcome.t_s,
                        outcome.value,
                        rule.limit,
                        rule.unit,
                        outcome.verdict,
                        rule.text,
                        rule.cue,
                        outcome.sd,
                    )
                )
        return out
