"""Two features of the rep, one of each side, differ by no more than the limit. A rep without them is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.kinds import Outcome, judged, when
from imufeedback.rules.ruleset import Rule


def check(rule: Rule, rep: Rep) -> Outcome | None:
    one, other = (rep.features.get(name or "") for name in (rule.feature, rule.other))
    if one is None or other is None:
        return None
    apart = abs(one - other)
    return judged(rule, rep, apart, apart - rule.limit, when(rule, rep))
