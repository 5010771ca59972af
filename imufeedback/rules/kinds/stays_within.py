"""A feature stays within ``low`` and the limit; without ``low`` it has no lower end. A rep without it is not judged.

Limits that hold for every golfer must be wide. Where a rule has a ``least_spread``, a player's own baseline narrows
them: a fault is also what lies further out than the player's own reps do, unless it is still ``fine`` for a coach. So
a change for the better is none. A coach's target takes the place of all of that.

An angle that comes down to its target and something that happens before a share of the turn are this check too: they
had names of their own, which older files and recordings use.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.records import Rep, Verdict
from imufeedback.rules.baseline import OwnValues, own
from imufeedback.rules.rule import PositionedRule, Rule, RuleOutcome, verdict

FORMERLY = ("reaches", "happens-before")
HARSHER = (None, Verdict.UNSURE, Verdict.FAULT)


class Kind(PositionedRule, frozen=True, kw_only=True, tag="stays-within"):
    low: float | None = None
    least_spread: Annotated[float, Meta(gt=0)] | None = None
    """The baseline's spread counts for no less than this; None: no baseline is looked at."""
    fine: float | None = None
    """Up to here a rep is fine whatever the baseline says; None: up to the limit …"""
    fine_low: float | None = None
    """… and down to here."""
    own: OwnValues | None = None
    """The baseline's, once there is one."""

    def contradiction(self) -> tuple[str, str] | None:
        if self.low is not None and self.low > self.limit:
            return f"low {self.low:g} is above limit {self.limit:g}, so nothing lies between", "exchange the two"
        return super().contradiction()

    @property
    def compares(self) -> bool:
        return self.least_spread is not None

    def with_limit(self, value: float, where: str) -> Rule:
        """The usual limit is no target: the baseline narrows it as before."""
        if value == self.limit:
            return self
        return msgspec.structs.replace(super().with_limit(value, where), least_spread=None, own=None)

    def compared(self, baseline: Sequence[float]) -> Rule:
        if self.least_spread is None:
            return self
        return msgspec.structs.replace(self, own=own(baseline, self.least_spread))

    def check(self, rep: Rep) -> RuleOutcome | None:
        value = rep.features.get(self.feature)
        if value is None:
            return None
        above = self._beyond(rep, value, 1.0, self.limit, self.fine)
        below = None if self.low is None else self._beyond(rep, value, -1.0, self.low, self.fine_low)
        return max(above, below, key=lambda one: HARSHER.index(one and one.verdict))

    def _beyond(self, rep: Rep, value: float, sign: float, limit: float, fine: float | None) -> RuleOutcome | None:
        """What is wrong on one side, above with a sign of 1."""
        sd = self.spread(rep)
        found = verdict(sign * (value - limit), sd)
        if self.own is not None and fine is not None:
            edge = self.own.high if sign > 0 else self.own.low
            not_fine, not_own = verdict(sign * (value - fine), sd), verdict(sign * (value - edge), self.own.spread)
            narrow = min(not_fine, not_own, key=HARSHER.index)
            if narrow is not None and HARSHER.index(narrow) > HARSHER.index(found):
                shown, bar = (fine, sd) if sign * fine > sign * edge else (edge, self.own.spread)
                return RuleOutcome(self.when(rep), value, narrow, bar, shown, by_own=True)
        return RuleOutcome(self.when(rep), value, found, sd, limit) if found else None
