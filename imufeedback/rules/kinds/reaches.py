"""A feature comes down to the limit, or below it. A rep without the feature is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged, when
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get(rule.feature or "")
    if value is None:
        return None
    return judged(rule, rep, value, value - rule.limit, when(rule, rep))
