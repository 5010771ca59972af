"""A feature stays within ``low`` and the limit; without ``low`` it has no lower end. A rep without it is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged, when
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get(rule.feature or "")
    if value is None:
        return None
    below = -1.0 if rule.low is None else rule.low - value
    return judged(rule, rep, value, max(value - rule.limit, below), when(rule, rep))
