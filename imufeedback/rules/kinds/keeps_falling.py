"""The trail thigh angle keeps falling with the turn until it reaches its target.

The value is the longest stretch of turn without loss; the finding points at where it begins. Its error bar is not the
same on both sides: how much shorter, and how much longer, the stretch is with a slope one standard deviation off.
"""

from __future__ import annotations

from typing import Literal

from imufeedback.records import Rep
from imufeedback.rules.rule import Outcome, Rule, verdict

FROM, LONGER = "trail_thigh_flat_from_s", "trail_thigh_flat_turn_up_sd_deg"


class Kind(Rule, frozen=True, kw_only=True, tag="keeps-falling"):
    feature: Literal["trail_thigh_flat_turn_deg"]

    @property
    def looked_at(self) -> frozenset[str]:
        return super().looked_at | {FROM, LONGER}

    def check(self, rep: Rep) -> Outcome | None:
        value = rep.features.get(self.feature)
        if value is None:
            return None
        sd = self.spread(rep) if value > self.limit else rep.features.get(LONGER, 0.0)
        found = verdict(value - self.limit, sd)
        return Outcome(rep.features.get(FROM, rep.end_s), value, found, sd) if found else None
