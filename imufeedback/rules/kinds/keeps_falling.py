"""The trail thigh angle keeps falling with the turn until it reaches its target.

The value is the longest stretch of turn without loss, the limit the dead-band of the live judgement.
"""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, spread, verdict
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    onset_s = rep.features.get("trail_thigh_first_stall_s")
    if onset_s is None:
        return None
    value = rep.features["trail_thigh_flat_turn_deg"]
    found = verdict(value - rule.limit, spread(rule, rep))
    return Outcome(onset_s, value, found) if found else None
