"""The trail thigh angle keeps falling with the turn until it reaches its target.

The value is the longest stall: the longest stretch of turn in which the angle falls by less than the least slope. The
finding points at where it begins. Its error bar is not the same on both sides: how much shorter, and how much longer,
the stretch is with a slope one standard deviation off. A stretch in which the angle hardly falls, but does, may so be
half as long; it is told by what it is at least.
"""

from __future__ import annotations

from typing import Literal

from imufeedback.records import Rep
from imufeedback.rules.rule import Rule, RuleOutcome, verdict

FROM, LONGER = "trail_thigh_flat_from_s", "trail_thigh_flat_turn_up_sd_deg"


class Kind(Rule, frozen=True, kw_only=True, tag="keeps-falling"):
    feature: Literal["trail_thigh_flat_turn_deg"]

    @property
    def looked_at(self) -> frozenset[str]:
        return super().looked_at | {FROM, LONGER}

    def check(self, rep: Rep) -> RuleOutcome | None:
        value = rep.features.get(self.feature)
        if value is None:
            return None
        sd = self.spread(rep) if value > self.limit else rep.features.get(LONGER, 0.0)
        found = verdict(value - self.limit, sd)
        if found is None:
            return None
        return RuleOutcome(
            rep.features.get(FROM, rep.end_s), value, found, sd, least=value - sd if value > self.limit else None
        )
