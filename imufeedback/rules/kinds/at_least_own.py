"""A feature of the rep is at least what the player does otherwise: the baseline's median less three times its spread.

For features of which no limit holds for every golfer: published players differ by more than the flaw. A coach's target
takes the baseline's place; without either the rule is not judged yet. `limit` is where a coach's dial begins.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.records import Rep
from imufeedback.rules.baseline import own
from imufeedback.rules.rule import PositionedRule, Rule, RuleOutcome, verdict


class Kind(PositionedRule, frozen=True, kw_only=True, tag="at-least-own"):
    least_spread: Annotated[float, Meta(gt=0)]
    """The baseline's spread counts for no less than this."""
    target: bool = False
    """A coach set the limit: it is judged against that, with the error bar of the feature."""
    own_spread: float | None = None
    """The baseline's, once there is one."""

    @property
    def compares(self) -> bool:
        return not self.target

    @property
    def waits(self) -> bool:
        return not self.target and self.own_spread is None

    def with_limit(self, value: float, where: str) -> Rule:
        """Where the dial begins there is no target: a coach puts the baseline back so."""
        if value == self.limit and not self.target:
            return self
        return msgspec.structs.replace(super().with_limit(value, where), target=True, own_spread=None)

    def compared(self, baseline: Sequence[float]) -> Rule:
        """The same against the values that a baseline's reps had."""
        found = None if self.target else own(baseline, self.least_spread)
        if found is None:
            return self
        return msgspec.structs.replace(self, limit=found.low, allowed=None, own_spread=found.spread)

    def check(self, rep: Rep) -> RuleOutcome | None:
        value = rep.features.get(self.feature)
        if value is None or self.waits:
            return None
        if self.own_spread is None:
            return self.judged(rep, value, self.limit - value, self.when(rep))
        found = verdict(self.limit - value, self.own_spread)
        return RuleOutcome(self.when(rep), value, found, self.own_spread, by_own=True) if found else None
