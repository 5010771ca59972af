"""The trail thigh angle keeps falling with the turn until it reaches its target.

The value is the longest stretch of turn without loss; the finding points at where it begins. Its error bar is not the
same on both sides: how much shorter, and how much longer, the stretch is with a slope one standard deviation off.
"""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, spread, verdict
from imufeedback.rules.ruleset import Rule

FEATURES = ("trail_thigh_flat_turn_deg", "trail_thigh_flat_turn_up_sd_deg", "trail_thigh_flat_from_s")


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get("trail_thigh_flat_turn_deg")
    if value is None:
        return None
    sd = spread(rule, rep) if value > rule.limit else rep.features.get("trail_thigh_flat_turn_up_sd_deg", 0.0)
    found = verdict(value - rule.limit, sd)
    return Outcome(rep.features.get("trail_thigh_flat_from_s", rep.end_s), value, found, sd) if found else None
