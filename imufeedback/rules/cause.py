"""From what was found in a rep to its cause: the first one that holds, and what only follows from it left out.

The table is TOML (``rules/causes/``, and the data folder's ``causes/``): causes in the order of their weight. A cause
holds when every one of its signs does; a cause that an earlier one explains is not told beside it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Protocol

import msgspec
from msgspec import Meta

from imufeedback import toml
from imufeedback.errors import BadToml
from imufeedback.records import Verdict
from imufeedback.rules.rule import SHORT_WORDS


class NamedFinding(Protocol):
    """A finding, live or from a document."""

    @property
    def rule(self) -> str: ...
    @property
    def t_s(self) -> float | None: ...
    @property
    def value(self) -> float | None: ...
    @property
    def verdict(self) -> Verdict: ...


class CauseSign(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One finding that must be there, as a fault, or not be there; or a feature that must lie so. Everything that one
    sign says must hold; of the signs in `any`, one."""

    rule: str | None = None
    unsure: bool = False
    """The rule's finding may be unsure, where something else is sure."""
    without: str | None = None
    """Rule whose finding must not be there, as a fault."""
    before: str | None = None
    """Rule whose finding comes later, or is not there."""
    least: float | None = None
    """Smallest size of the value."""
    feature: str | None = None
    above: float | None = None
    below: float | None = None
    unmeasured: str | None = None
    """Feature that the rep has not."""
    any: tuple[CauseSign, ...] = ()

    @property
    def empty(self) -> bool:
        """It says nothing."""
        said = self.rule, self.without, self.feature, self.unmeasured
        return (all(one is None for one in said) and not self.any) or any(one.empty for one in self.any)

    @property
    def rules(self) -> frozenset[str]:
        """Rules that must have found something."""
        return frozenset(() if self.rule is None else (self.rule,)).union(*(one.rules for one in self.any))

    def holds(self, findings: Sequence[NamedFinding], features: Mapping[str, float]) -> bool:
        """Whether it is in this rep."""
        if self.feature is not None and not self._lies(features.get(self.feature)):
            return False
        if self.without is not None and _fault(findings, self.without) is not None:
            return False
        if self.unmeasured is not None and self.unmeasured in features:
            return False
        if self.any and not any(one.holds(findings, features) for one in self.any):
            return False
        return self.rule is None or self._found(findings)

    def _found(self, findings: Sequence[NamedFinding]) -> bool:
        mine = _fault(findings, self.rule, unsure=self.unsure)
        if mine is None or (self.least is not None and not abs(_number(mine.value)) >= self.least):
            return False
        later = None if self.before is None else _fault(findings, self.before)
        return later is None or _number(mine.t_s) <= _number(later.t_s)

    def _lies(self, value: float | None) -> bool:
        if value is None:
            return False
        return (self.above is None or value > self.above) and (self.below is None or value < self.below)


class Ahead(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """When a cause is told sooner than it stands in the table."""

    of: Annotated[tuple[str, ...], Meta(min_length=1)]
    """Causes: it then goes before the first of them."""
    when: Annotated[tuple[CauseSign, ...], Meta(min_length=1)]
    """Signs beside its own."""


class Cause(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Why a rep went as it did."""

    id: Annotated[str, Meta(pattern="^[a-z][a-z0-9-]*$")]
    signs: Annotated[tuple[CauseSign, ...], Meta(min_length=1)]
    text: str
    """One sentence: what happened."""
    feel: str
    """What to feel instead."""
    short: str
    """What to do, in at most six words."""
    drill: str
    """Name of the drill against it."""
    explains: tuple[str, ...] = ()
    """Rules whose findings only follow from it."""
    ahead: Ahead | tuple[Ahead, ...] = ()

    @property
    def aheads(self) -> tuple[Ahead, ...]:
        return (self.ahead,) if isinstance(self.ahead, Ahead) else self.ahead

    @property
    def rules(self) -> frozenset[str]:
        """Rules that it looks at."""
        return frozenset[str]().union(*(sign.rules for sign in self.signs))

    def holds(self, findings: Sequence[NamedFinding], features: Mapping[str, float]) -> bool:
        return all(sign.holds(findings, features) for sign in self.signs)


class _File(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    format: Annotated[int, Meta(ge=1, le=1)]
    causes: tuple[Cause, ...]


def parse_causes(text: str, where: str) -> tuple[Cause, ...]:
    """Read a table of causes; `where` names the file in errors. Raises BadToml, also for a sign that says nothing and
    for short words that cannot be read from three metres."""
    causes = toml.decode(text, _File, where).causes
    for one in causes:
        signs = (*one.signs, *(sign for ahead in one.aheads for sign in ahead.when))
        if any(sign.empty for sign in signs):
            raise BadToml(f"cause {one.id!r}: a sign without rule and feature", where=where, hint="name one of them")
        if len(one.short.split()) > SHORT_WORDS:
            raise BadToml(
                f"cause {one.id!r}: short has more than {SHORT_WORDS} words",
                where=where,
                hint="it is read from three metres, between two swings",
            )
    return causes


def together(own: Iterable[Cause], shipped: Iterable[Cause]) -> tuple[Cause, ...]:
    """A coach's own causes come first, and stand for shipped ones of the same id."""
    own = tuple(own)
    names = {one.id for one in own}
    return (*own, *(one for one in shipped if one.id not in names))


def causes_of(causes: Iterable[Cause], findings: Sequence[NamedFinding], features: Mapping[str, float]) -> list[Cause]:
    """The causes of one rep, the weightiest first, without those that an earlier one explains."""
    out: list[Cause] = []
    explained: set[str] = set()
    for one in _by_weight([one for one in causes if one.holds(findings, features)], findings, features):
        from_rules = {rule for rule in one.rules if _fault(findings, rule) is not None}
        if from_rules and from_rules <= explained:
            continue
        out.append(one)
        explained |= {*from_rules, *one.explains}
    return out


def _by_weight(holding: list[Cause], findings: Sequence[NamedFinding], features: Mapping[str, float]) -> list[Cause]:
    """Those that go ahead moved to the front of what they name."""
    for one in list(holding):
        for ahead in one.aheads:
            before = holding[: holding.index(one)]
            place = next((k for k, other in enumerate(before) if other.id in ahead.of), None)
            if place is not None and all(sign.holds(findings, features) for sign in ahead.when):
                holding.remove(one)
                holding.insert(place, one)
    return holding


def _fault(findings: Sequence[NamedFinding], rule: str | None, *, unsure: bool = False) -> NamedFinding | None:
    verdicts = (Verdict.FAULT, Verdict.UNSURE) if unsure else (Verdict.FAULT,)
    return next((one for one in findings if one.rule == rule and one.verdict in verdicts), None)


def _number(value: float | None) -> float:
    return float("nan") if value is None else value
