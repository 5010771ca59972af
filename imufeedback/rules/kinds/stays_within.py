"""A feature stays within ``low`` and the limit; without ``low`` it has no lower end. A rep without it is not judged.

An angle that comes down to its target and something that happens before a share of the turn are this check too: they
had names of their own, which older files and recordings use.
"""

from __future__ import annotations

from imufeedback.records import Rep
from imufeedback.rules.rule import Outcome, PositionedRule

FORMERLY = ("reaches", "happens-before")


class Kind(PositionedRule, frozen=True, kw_only=True, tag="stays-within"):
    low: float | None = None

    def contradiction(self) -> tuple[str, str] | None:
        if self.low is not None and self.low > self.limit:
            return f"low {self.low:g} is above limit {self.limit:g}, so nothing lies between", "exchange the two"
        return super().contradiction()

    def check(self, rep: Rep) -> Outcome | None:
        value = rep.features.get(self.feature)
        if value is None:
            return None
        above = value - self.limit
        miss = above if self.low is None else max(above, self.low - value)
        return self.judged(rep, value, miss, self.when(rep))
