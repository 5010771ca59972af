"""A feature of the rep is at least the limit. A rep without the feature is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, spread, verdict
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get(rule.feature or "")
    if value is None:
        return None
    found = verdict(rule.limit - value, spread(rule, rep))
    return Outcome(rep.marks.get("impact_s", rep.end_s), value, found) if found else None
