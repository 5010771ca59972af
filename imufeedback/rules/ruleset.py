"""Rule sets and drills: what is checked and with which limits.

The TOML is read by `parse`: one's own files strictly, those in recordings leniently.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Union

import msgspec
from msgspec import Meta

from imufeedback import toml
from imufeedback.errors import BadToml, UsageError
from imufeedback.rules.drill import Drill
from imufeedback.rules.kinds import kinds
from imufeedback.rules.rule import Rule
from imufeedback.spelling import nearest

if TYPE_CHECKING:
    AnyRule = Rule
else:
    AnyRule = Union[tuple(kinds().values())]  # noqa: UP007 - told apart by their tags; not known before it runs

Degrees = Annotated[float, Meta(ge=-180, le=180)]
PositiveDegrees = Annotated[float, Meta(ge=0, le=180)]


class Live(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Limits of the live judgement of the trail thigh angle."""

    min_slope: Annotated[float, Meta(gt=0, le=2)]
    """Degrees that the angle must lose for a degree of turn: a stretch of turn in which it loses less is a stall."""
    dead_ms: Annotated[float, Meta(ge=0, le=1000)]
    target_deg: Degrees
    grow_deg: Annotated[float, Meta(gt=0, le=45)]
    dead_turn_deg: Annotated[float, Meta(gt=0, le=45)] | None = None
    """Only in rule sets of before, whose tone came after another stretch of turn than their finding; else both come
    where the rule that the angle keeps falling has its limit."""


class RepShape(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What counts as a rep."""

    min_backswing_deg: PositiveDegrees
    """0: a rep may set off towards the target without a backswing."""
    min_through_deg: PositiveDegrees
    max_s: Annotated[float, Meta(gt=0.5, le=120)]
    min_slope: Annotated[float, Meta(gt=0, le=2)] | None = None
    """Only in rule sets of before, which called a stall another thing in the finished rep than live."""


class RuleSet(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A named set of rules; a drill when it says how it is done."""

    format: Annotated[int, Meta(ge=1, le=1)]
    name: str
    title: str
    live: Live
    rep: RepShape
    rules: tuple[AnyRule, ...]
    drill: Drill | None = None

    @property
    def features(self) -> frozenset[str]:
        """Features of a rep that its rules look at."""
        return frozenset().union(*(rule.looked_at for rule in self.rules))


class Limits(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A coach's own limits for one player: only what differs from the rule set."""

    format: Annotated[int, Meta(ge=1, le=1)]
    player: str = ""
    limits: dict[str, float] = {}
    """By rule id."""
    live: dict[str, float] = {}
    """Keys of a rule set's ``[live]``."""


def parse_limits(text: str, where: str) -> Limits:
    """Read a player's own limits. Raises BadToml, also for ``nan`` and ``inf``."""
    return toml.decode(text, Limits, where)


def passed_over(rule_set: RuleSet, limits: Limits) -> list[str]:
    """A line for every limit whose rule the set has not: one file serves many rule sets, but it may be misspelt."""
    here = [rule.id for rule in rule_set.rules]
    lines = []
    for name in (one for one in limits.limits if one not in here):
        near = nearest(name, here)
        meant = f"is {near!r} meant? Its usual limit counts" if near else "a limit of other rules, or misspelt"
        lines.append(f"no rule of {rule_set.title!r} is called {name!r}: {meant}")
    return lines


def with_limits(rule_set: RuleSet, limits: Limits, where: str) -> RuleSet:
    """The rule set with a player's own limits. Rules that it has not are passed over: one file serves many drills.

    Raises BadToml for a key of ``[live]`` that does not exist, and for a value out of its range.
    """
    rules = tuple(
        rule.with_limit(limits.limits[rule.id], where) if rule.id in limits.limits else rule for rule in rule_set.rules
    )
    return msgspec.structs.replace(rule_set, rules=rules, live=_with_live(rule_set.live, limits.live, where))


def with_limit(rule_set: RuleSet, key: str, value: float) -> RuleSet:
    """One limit changed: `key` is a rule's id, or ``live.`` and a key. Raises UsageError for a key that is not there,
    BadToml for a value out of range."""
    section, _, name = key.rpartition(".")
    if section == "live":
        return with_limits(rule_set, Limits(1, live={name: value}), "limit")
    if key not in {rule.id for rule in rule_set.rules}:
        raise UsageError(
            f"no rule is called {key!r}",
            where="limit",
            hint=f"choose one of {', '.join(rule.id for rule in rule_set.rules)}",
        )
    return with_limits(rule_set, Limits(1, limits={key: value}), "limit")


def _with_live(live: Live, changed: Mapping[str, float], where: str) -> Live:
    for key, value in changed.items():
        if not math.isfinite(value):
            raise BadToml(f"live.{key} = {value} is no limit", where=where, hint="give a number")
    try:
        return msgspec.convert({**msgspec.to_builtins(live), **changed}, Live)
    except msgspec.ValidationError as error:
        raise BadToml(f"live: {error}", where=where, hint="correct the key or value") from error
