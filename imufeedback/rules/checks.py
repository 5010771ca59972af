"""Whether the words of a rule are known, so that it can fire at all: looked at before it becomes a `Rule`."""

from __future__ import annotations

import types
from collections.abc import Collection, Iterator, Mapping
from enum import StrEnum
from functools import cache
from typing import Any, Literal, Union, get_args, get_origin

import msgspec

from imufeedback.errors import BadToml
from imufeedback.rules.kinds import formerly, kinds
from imufeedback.rules.rule import Rule
from imufeedback.rules.vocabulary import FEATURES, POSITIONS, Feature, Position, unit_of
from imufeedback.sounds import BY_NAME
from imufeedback.spelling import meant, nearest

TAG = "kind"
LISTED = "report/SUMMARY.md lists them"


def unknown_kind(rule: Mapping[str, Any], where: str) -> BadToml | None:
    """What is wrong with the kind of a rule."""
    name = rule.get(TAG)
    if name is None:
        return _wrong(rule, "kind is missing", where, f"choose one of {', '.join(kinds())}")
    if name not in kinds():
        return _wrong(rule, f"kind {name!r} does not exist", where, meant(str(name), kinds()))
    return None


def foreign_fields(rule: Mapping[str, Any], where: str) -> Iterator[tuple[str, BadToml]]:
    """Every field that a rule of this kind has not, and what to say of it."""
    name = str(rule[TAG])
    own = [TAG, *(field.name for field in fields(name))]
    for key in rule:
        if key not in own:
            yield key, _wrong(rule, f"a rule of the kind {name!r} has no {key}", where, _instead(key, own))


def wrong_words(rule: Mapping[str, Any], where: str) -> Iterator[tuple[str, BadToml]]:
    """Every field of a rule that is missing or whose word is not known, and what to say of it."""
    for field in fields(str(rule[TAG])):
        words, value = words_of(field.type), rule.get(field.name)
        if field.name not in rule:
            if field.required and field.name != "id":
                yield field.name, _wrong(rule, f"{field.name} is missing", where, _example(words))
        elif words is not None and isinstance(value, str) and value not in words:
            near = nearest(value, words)
            hint = LISTED if near is None and words is FEATURES else meant(value, words)
            what = f"{field.name} {value!r} does not exist"
            if value in FEATURES:
                what = f"{field.name} {value!r} is not what the kind {rule[TAG]!r} looks at"
            yield field.name, _wrong(rule, what, where, hint)


def wrong_unit(rule: Mapping[str, Any], where: str) -> BadToml | None:
    """What is wrong with a unit that is none of the feature."""
    feature, unit = rule.get("feature"), rule.get("unit")
    expected = unit_of(feature) if isinstance(feature, str) else None
    if expected is None or unit == expected:
        return None
    return _wrong(rule, f"unit {unit!r} is not that of the feature {feature}", where, f"write {str(expected)!r}")


def contradiction(rule: Rule, where: str) -> BadToml | None:
    """What of a rule's numbers cannot be together."""
    found = rule.contradiction()
    return None if found is None else BadToml(f"rule {rule.id!r}: {found[0]}", where=where, hint=found[1])


def check_sound(sound: str, what: str, where: str) -> None:
    """Raises BadToml for a sound that does not exist."""
    if sound not in BY_NAME:
        raise BadToml(f"{what} {sound!r} does not exist", where=where, hint=meant(sound, BY_NAME))


def fields(kind: str) -> tuple[msgspec.structs.FieldInfo, ...]:
    """Fields of a kind."""
    return _fields(kinds()[kind])


@cache
def _fields(of: type[Rule]) -> tuple[msgspec.structs.FieldInfo, ...]:
    """To find them the library evaluates every annotation anew."""
    return msgspec.structs.fields(of)


def words_of(field: Any) -> Collection[str] | None:
    """The words that may stand in a field of this type; None where they are not counted."""
    if field == Feature:
        return FEATURES
    if field == Position:
        return POSITIONS
    if get_origin(field) is Literal:
        return get_args(field)
    if isinstance(field, type) and issubclass(field, StrEnum):
        return tuple(str(word) for word in field)
    if get_origin(field) in (Union, types.UnionType):
        return next((words for one in get_args(field) if (words := words_of(one)) is not None), None)
    return None


def renamed(rule: Mapping[str, Any]) -> dict[str, Any]:
    """The rule with today's name of its kind."""
    name = rule.get(TAG)
    return {**rule, TAG: formerly().get(name, name)} if isinstance(name, str) else dict(rule)


def _instead(key: str, own: Collection[str]) -> str:
    near = nearest(key, own)
    if near is not None:
        return f"is {near!r} meant?"
    others = [name for name in kinds() if any(field.name == key for field in fields(name))]
    return f"only {', '.join(others)} has it" if others else f"choose one of {', '.join(own)}"


def _example(words: Collection[str] | None) -> str:
    if words is FEATURES:
        return LISTED
    return f"choose one of {', '.join(words)}" if words else "add it"


def _wrong(rule: Mapping[str, Any], what: str, where: str, hint: str) -> BadToml:
    return BadToml(f"rule {rule.get('id', '')!r}: {what}", where=where, hint=hint)
