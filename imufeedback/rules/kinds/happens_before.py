"""Something has happened before a share of the turn from top to impact is made.

The feature says at which share; what did not happen at all has a share above 1. A rep without it is not judged.
"""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged, when
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    value = rep.features.get(rule.feature or "")
    if value is None:
        return None
    return judged(rule, rep, value, value - rule.limit, when(rule, rep))
