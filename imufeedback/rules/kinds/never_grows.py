"""The trail thigh angle never grows after the top, before it reaches its target."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged
from imufeedback.rules.ruleset import Rule

FEATURES = ("trail_thigh_growth_deg", "trail_thigh_growth_from_s")


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get("trail_thigh_growth_deg")
    if value is None:
        return None
    return judged(rule, rep, value, value - rule.limit, rep.features.get("trail_thigh_growth_from_s", rep.end_s))
