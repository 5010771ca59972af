"""Rule sets: what is checked and with which limits, as TOML.

Unknown keys are errors, values out of range name the file, the key and what is allowed.
"""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.errors import BadToml
from imufeedback.rules.kinds import available

Degrees = Annotated[float, Meta(ge=-180, le=180)]
PositiveDegrees = Annotated[float, Meta(ge=0, le=180)]


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
    min_through_deg: PositiveDegrees
    max_s: Annotated[float, Meta(gt=0.5, le=120)]


class Rule(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One rule: a kind, its limit, and the text that a finding shows."""

    id: Annotated[str, Meta(pattern="^[a-z][a-z0-9-]*$")]
    kind: str
    limit: float
    unit: str
    text: str
    feature: str | None = None
    """Feature of the rep that the kind looks at, where it does not know that itself."""
    sd: str | None = None
    """Feature that holds the standard deviation of the value, for kinds that compare with a limit."""
    sd_factor: Annotated[float, Meta(ge=0)] = 1.0


class RuleSet(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A named set of rules."""

    format: Annotated[int, Meta(ge=1, le=1)]
    name: str
    title: str
    live: Live
    rep: RepShape
    rules: tuple[Rule, ...]


def parse_rule_set(text: str, where: str) -> RuleSet:
    """Read a rule set; `where` names the file in errors. Raises BadToml."""
    try:
        rule_set = msgspec.toml.decode(text.encode(), type=RuleSet)
    except msgspec.MsgspecError as error:
        raise BadToml(str(error), where=where, hint="correct the key or value") from error
    for rule in rule_set.rules:
        if rule.kind not in available():
            raise BadToml(
                f"rule {rule.id!r} has the unknown kind {rule.kind!r}",
                where=where,
                hint=f"choose one of {', '.join(available())}",
            )
    ids = [rule.id for rule in rule_set.rules]
    twice = sorted({one for one in ids if ids.count(one) > 1})
    if twice:
        raise BadToml(f"rule {twice[0]!r} stands there twice", where=where, hint="give every rule its own id")
    return rule_set
