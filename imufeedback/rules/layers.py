"""Whose limits count: those of the rule set, over them the player's own, over them what was changed in this session.

A rule's limit goes by the rule's id, in whatever drill it stands. A key of ``[live]`` is a drill's own: it is only
carried to rule sets that have the same usual value there, so that the target of full swings is not put on half swings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum

from imufeedback.errors import BadToml
from imufeedback.rules.ruleset import Limits, RuleSet, with_limit

LIVE = "live."


class Whose(StrEnum):
    """Where a limit comes from."""

    PLAYER = "player"
    TODAY = "today"


@dataclass(frozen=True, slots=True)
class Changed:
    """A limit that differs from the rule set's, or differed."""

    value: float
    usual: float
    """In the rule set where it was changed."""
    whose: Whose


@dataclass(frozen=True, slots=True)
class Layers:
    """Limits over those of a rule set, by key: a rule's id, or ``live.`` and a key."""

    player: Mapping[str, Changed] = field(default_factory=dict)
    today: Mapping[str, Changed] = field(default_factory=dict)

    def over(self, base: RuleSet) -> tuple[RuleSet, list[str]]:
        """The rule set with what is laid over it, and a line for each limit that does not fit it."""
        out, lines = base, []
        for key, changed in (*self.player.items(), *self.today.items()):
            if not _meant(base, key, changed):
                continue
            try:
                out = with_limit(out, key, changed.value)
            except BadToml as error:
                lines.append(f"{error}; the drill's own limit counts")
        return out, lines

    def with_today(self, base: RuleSet, key: str, value: float) -> Layers:
        """One more change of this session. Raises UsageError and BadToml as `with_limit` does."""
        with_limit(base, key, value)
        usual = usual_of(base, key)
        assert usual is not None  # it could be changed
        return replace(self, today={**self.today, key: Changed(value, usual, Whose.TODAY)})

    def of(self, base: RuleSet, key: str) -> Changed | None:
        """What counts of this key in a rule set; None where its own does."""
        for layer in (self.today, self.player):
            if key in layer and _meant(base, key, layer[key]):
                return layer[key]
        return None


def own_layer(home: RuleSet, limits: Limits) -> Layers:
    """The player's own limits; `home` is the rule set of the session, whose usual values they were set against."""
    keys = {**limits.limits, **{LIVE + key: value for key, value in limits.live.items()}}
    usual = {key: usual_of(home, key) for key in keys}
    return Layers({key: Changed(value, _or(usual[key], value), Whose.PLAYER) for key, value in keys.items()})


def usual_of(rule_set: RuleSet, key: str) -> float | None:
    """Value of a key in a rule set; None where it has no such rule."""
    if key.startswith(LIVE):
        value = getattr(rule_set.live, key.removeprefix(LIVE), None)
        return None if value is None else float(value)
    return next((float(rule.limit) for rule in rule_set.rules if rule.id == key), None)


def _meant(base: RuleSet, key: str, changed: Changed) -> bool:
    usual = usual_of(base, key)
    return usual is not None and (not key.startswith(LIVE) or usual == changed.usual)


def _or(usual: float | None, value: float) -> float:
    return value if usual is None else usual
