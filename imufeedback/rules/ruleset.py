"""Rule sets and drills: what is checked and with which limits, as TOML.

Unknown keys are errors, values out of range name the file, the key and what is allowed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback import toml
from imufeedback.errors import BadToml, UsageError
from imufeedback.rules.checks import check_rule, check_sound
from imufeedback.rules.drill import Drill
from imufeedback.rules.kinds import available, looked_at
from imufeedback.rules.vocabulary import SOUNDS
from imufeedback.spelling import nearest

Degrees = Annotated[float, Meta(ge=-180, le=180)]
PositiveDegrees = Annotated[float, Meta(ge=0, le=180)]
USUAL_SOUND = "stalled"


class Live(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Limits of the live judgement of the trail thigh angle."""

    min_slope: Annotated[float, Meta(gt=0, le=2)]
    """Degrees that the angle must lose for a degree of turn."""
    dead_turn_deg: Annotated[float, Meta(gt=0, le=45)]
    dead_ms: Annotated[float, Meta(ge=0, le=1000)]
    target_deg: Degrees
    grow_deg: Annotated[float, Meta(gt=0, le=45)]


class RepShape(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What counts as a rep."""

    min_backswing_deg: PositiveDegrees
    """0: a rep may set off towards the target without a backswing."""
    min_through_deg: PositiveDegrees
    max_s: Annotated[float, Meta(gt=0.5, le=120)]
    min_slope: Annotated[float, Meta(gt=0, le=2)] = 0.11
    """Degrees that the trail thigh angle must lose for a degree of turn, looked at over the finished rep."""


class Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One rule: a kind, its limit, and the text that a finding shows."""

    id: Annotated[str, Meta(pattern="^[a-z][a-z0-9-]*$")]
    kind: str
    limit: float
    unit: str
    text: str
    feature: str | None = None
    """Feature of the rep that the kind looks at, where it does not know that itself."""
    other: str | None = None
    """A second one, for kinds that compare two."""
    low: float | None = None
    """Lower end, for kinds that have one."""
    at: str = "impact"
    """Mark that a finding points at, for kinds that do not know that themselves."""
    sd: str | None = None
    """Feature that holds the standard deviation of the value; else the one beside `feature`, where there is one."""
    sd_factor: Annotated[float, Meta(ge=0)] = 1.0
    allowed: tuple[float, float] | None = None
    """Least and greatest limit that a coach may set."""
    cue: str = USUAL_SOUND
    """Sound that stands for it after the rep."""
    form: bool = False
    """A check of form: when it fails, rules of range behind it are not judged (`Rules`)."""

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


class RuleSet(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A named set of rules; a drill when it says how it is done."""

    format: Annotated[int, Meta(ge=1, le=1)]
    name: str
    title: str
    live: Live
    rep: RepShape
    rules: tuple[Rule, ...]
    drill: Drill | None = None

    @property
    def features(self) -> frozenset[str]:
        """Features of a rep that its rules look at."""
        return frozenset().union(*(looked_at(one) for one in self.rules))


class Limits(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A coach's own limits for one player: only what differs from the rule set."""

    format: Annotated[int, Meta(ge=1, le=1)]
    player: str = ""
    limits: dict[str, float] = {}
    """By rule id."""
    live: dict[str, float] = {}
    """Keys of a rule set's ``[live]``."""


def parse_rule_set(text: str, where: str) -> RuleSet:
    """Read a rule set or drill; `where` names the file in errors. Raises BadToml, also for a rule that could never
    fire: without what its kind looks at, or with a feature, mark, unit or sound that does not exist."""
    rule_set = toml.decode(text, RuleSet, where)
    for rule in rule_set.rules:
        check_rule(rule, where)
    for sound in rule_set.drill.cues if rule_set.drill else ():
        check_sound(sound, "drill.cues", where)
    _check_ids(rule_set, where)
    return rule_set


def parse_recorded(text: str, where: str) -> tuple[RuleSet, tuple[str, ...]]:
    """The rule set in a recording, which a newer or an older version may have written.

    Returns:
        the rule set without the rules of unknown kinds, and with the usual sound in place of unknown ones; and a line
        for every rule that says what this version does not know of it.

    Raises BadToml for what is no rule set at all.
    """
    rule_set = toml.decode(text, RuleSet, where)
    _check_ids(rule_set, where)
    rules, lines = [], []
    for rule in rule_set.rules:
        try:
            check_rule(rule, where)
        except BadToml as error:
            lines.append(str(error))
        if rule.kind in available():
            rules.append(rule if rule.cue in SOUNDS else msgspec.structs.replace(rule, cue=USUAL_SOUND))
    return msgspec.structs.replace(rule_set, rules=tuple(rules)), tuple(lines)


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


def _check_ids(rule_set: RuleSet, where: str) -> None:
    ids = [rule.id for rule in rule_set.rules]
    twice = sorted({one for one in ids if ids.count(one) > 1})
    if twice:
        raise BadToml(f"rule {twice[0]!r} stands there twice", where=where, hint="give every rule its own id")
