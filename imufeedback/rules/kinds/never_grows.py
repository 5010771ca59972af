"""The trail thigh angle never grows after the top, before it reaches its target."""

from __future__ import annotations

from typing import Literal

from imufeedback.records import Rep
from imufeedback.rules.rule import Rule, RuleOutcome

FROM = "trail_thigh_growth_from_s"


class Kind(Rule, frozen=True, kw_only=True, tag="never-grows"):
    feature: Literal["trail_thigh_growth_deg"]

    @property
    def looked_at(self) -> frozenset[str]:
        return super().looked_at | {FROM}

    def check(self, rep: Rep) -> RuleOutcome | None:
        value = rep.features.get(self.feature)
        if value is None:
            return None
        return self.judged(rep, value, value - self.limit, rep.features.get(FROM, rep.end_s))
