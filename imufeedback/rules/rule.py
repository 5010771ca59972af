"""What every rule has, whatever its kind."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.errors import BadToml
from imufeedback.records import Rep, Verdict, sd_name
from imufeedback.rules.vocabulary import Feature, Position, Unit
from imufeedback.sounds import Sound

SHORT_WORDS = 6


@dataclass(frozen=True, slots=True)
class RuleOutcome:
    """What a rule found wrong."""

    t_s: float
    value: float
    verdict: Verdict
    sd: float = 0.0
    """One standard deviation of the value."""
    limit: float | None = None
    """The one that was missed, where it is not the rule's."""
    least: float | None = None
    """What of the value is certain, where its bar is not the same on both sides."""
    by_own: bool = False
    """The limit that was missed is that of the player's own baseline."""


class Rule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True, tag_field="kind"):
    """One rule: its limit, and the words that a finding shows. Each kind adds the fields that it alone has."""

    id: Annotated[str, Meta(pattern="^[a-z][a-z0-9-]*$")]
    feature: Feature
    """Feature of the rep that it looks at."""
    limit: float
    unit: Unit
    text: str
    """What to do about it, in words for the player."""
    short: str | None = None
    """The same in at most six words, to be read from three metres."""
    drill: str | None = None
    """Name of the drill against it."""
    sd: Feature | None = None
    """Feature that holds the standard deviation of the value; else the one beside `feature`, where there is one."""
    sd_factor: Annotated[float, Meta(ge=0)] = 1.0
    allowed: tuple[float, float] | None = None
    """Least and greatest limit that a coach may set."""
    cue: Sound = Sound.STALLED
    """Sound that stands for it after the rep."""
    form: bool = False
    """A check of form: when it fails, rules of range behind it are not judged (`Rules`)."""
    basis: str | None = None
    """What its limit rests on, in words for the player, where that is no measurement."""

    def check(self, rep: Rep) -> RuleOutcome | None:
        """What is wrong with the rep; None when nothing is, or when it has not what the rule looks at."""
        raise NotImplementedError  # pragma: no cover - abstract

    @property
    def kind(self) -> str:
        return str(self.__struct_config__.tag)

    @property
    def looked_at(self) -> frozenset[str]:
        """Features of a rep that it looks at: a rep without their angles is not judged at all."""
        return frozenset({self.feature} if self.sd is None else {self.feature, self.sd})

    @property
    def judges(self) -> frozenset[str]:
        """Features without which it cannot be checked."""
        return frozenset({self.feature})

    @property
    def compares(self) -> bool:
        """It looks at the player's own baseline, once there is one."""
        return False

    @property
    def waits(self) -> bool:
        """It cannot be judged before the player has a baseline, or a target."""
        return False

    def compared(self, baseline: Sequence[float]) -> Rule:
        """The same against a baseline's values of its feature; a kind with a fixed limit does not look at them."""
        return self

    def contradiction(self) -> tuple[str, str] | None:
        """What of its fields cannot be together, and a hint; None when all can."""
        if self.short is not None and len(self.short.split()) > SHORT_WORDS:
            return f"short has more than {SHORT_WORDS} words", "it is read from three metres, between two swings"
        low, high = self.allowed or (self.limit, self.limit)
        if low <= self.limit <= high:
            return None
        return f"limit {self.limit:g} is not inside its own range", f"choose {low:g} to {high:g}"

    def spread(self, rep: Rep) -> float:
        """One standard deviation of the value, in the rule's unit."""
        return self.sd_factor * rep.features.get(self.sd or sd_name(self.feature), 0.0)

    def judged(self, rep: Rep, value: float, miss: float, t_s: float) -> RuleOutcome | None:
        """Outcome for a value that misses its limit by `miss`; None when it does not."""
        sd = self.spread(rep)
        found = verdict(miss, sd)
        return RuleOutcome(t_s, value, found, sd) if found else None

    def with_limit(self, value: float, where: str) -> Rule:
        """The same with a coach's limit. Raises BadToml outside what is allowed, and for what is no number."""
        if not math.isfinite(value):
            raise BadToml(f"limits.{self.id} = {value} is no limit", where=where, hint="give a number")
        if self.allowed is not None and not self.allowed[0] <= value <= self.allowed[1]:
            low, high = self.allowed
            raise BadToml(
                f"limits.{self.id} = {value:g} is out of range", where=where, hint=f"choose {low:g} to {high:g}"
            )
        return msgspec.structs.replace(self, limit=value)


class PositionedRule(Rule, frozen=True, kw_only=True):
    """A rule whose finding points at a position of the rep."""

    at: Position = "impact"

    def when(self, rep: Rep) -> float:
        """The instant that a finding points at: the position, or the rep's end where that is missing."""
        return rep.positions.get(f"{self.at}_s", rep.end_s)


def verdict(miss: float, sd: float) -> Verdict | None:
    """Verdict for a value that misses its limit by `miss` (> 0) with an error bar of `sd`; None when the limit is met.

    Where the error bar spans the limit, from either side, nothing is certain: ``unsure``. A fault lies beyond it.
    """
    if miss > sd:
        return Verdict.FAULT
    return Verdict.UNSURE if miss > -sd else None
