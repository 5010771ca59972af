"""Two features of the rep, one of each side, differ by no more than the limit. A rep without them is not judged."""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.rule import PositionedRule, RuleOutcome
from imufeedback.rules.vocabulary import Feature


class Kind(PositionedRule, frozen=True, kw_only=True, tag="sides-agree"):
    other: Feature
    """That of the other side."""

    @property
    def looked_at(self) -> frozenset[str]:
        return super().looked_at | {self.other}

    @property
    def judges(self) -> frozenset[str]:
        return super().judges | {self.other}

    def check(self, rep: Rep) -> RuleOutcome | None:
        one, other = rep.features.get(self.feature), rep.features.get(self.other)
        if one is None or other is None:
            return None
        apart = abs(one - other)
        return self.judged(rep, apart, apart - self.limit, self.when(rep))
