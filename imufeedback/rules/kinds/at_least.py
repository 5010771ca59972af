"""A feature of the rep – an angle, a share – is at least the limit. A rep without the feature is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged, when
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get(rule.feature or "")
    if value is None:
        return None
    return judged(rule, rep, value, rule.limit - value, when(rule, rep))
