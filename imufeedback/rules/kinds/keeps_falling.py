"""The trail thigh angle keeps falling with the turn until it reaches its target.

The value is the longest stretch of turn without loss; the finding points at where it begins.
"""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features["trail_thigh_flat_turn_deg"]
    return judged(rule, rep, value, value - rule.limit, rep.features["trail_thigh_flat_from_s"])
