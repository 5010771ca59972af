"""A feature of the rep – an angle, a share – is at least the limit. A rep without the feature is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.rule import PositionedRule, RuleOutcome


class Kind(PositionedRule, frozen=True, kw_only=True, tag="at-least"):
    def check(self, rep: Rep) -> RuleOutcome | None:
        value = rep.features.get(self.feature)
        return None if value is None else self.judged(rep, value, self.limit - value, self.when(rep))
