"""TOML to rule sets: one's own files strictly, what a recording holds leniently."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Any

from imufeedback import toml
from imufeedback.errors import BadToml
from imufeedback.records import sd_name
from imufeedback.rules import checks
from imufeedback.rules.ruleset import RuleSet
from imufeedback.rules.vocabulary import FEATURES, Unit, unit_of
from imufeedback.sounds import Sound


def parse_rule_set(text: str, where: str) -> RuleSet:
    """Read a rule set or drill; `where` names the file in errors. Raises BadToml, also for a rule that could never
    fire: without what its kind looks at, or with a feature, position, unit or sound that does not exist."""
    document = toml.table(text, where)
    tables = [checks.renamed(rule) for rule in _tables(document)]
    for rule in tables:
        _refuse(rule, where)
    rule_set = toml.convert(_with(document, tables), RuleSet, where)
    for made in rule_set.rules:
        if (error := checks.contradiction(made, where)) is not None:
            raise error
    for sound in rule_set.drill.cues if rule_set.drill else ():
        checks.check_sound(sound, "drill.cues", where)
    _check_ids(rule_set, where)
    return rule_set


def parse_recorded(text: str, where: str) -> tuple[RuleSet, tuple[str, ...]]:
    """The rule set in a recording, which a newer or an older version may have written.

    Returns:
        the rule set without rules that could never fire (their kind is unknown, or they name nothing to look at), and
        with the usual sound in place of unknown ones; and a line for everything that this version does not know of it.

    Raises BadToml for what is no rule set at all.
    """
    document = toml.table(text, where)
    lines: list[str] = []
    tables = [_known(checks.renamed(rule), where, lines) for rule in _tables(document)]
    rule_set = toml.convert(_with(document, [rule for rule in tables if rule is not None]), RuleSet, where)
    lines += [str(error) for rule in rule_set.rules if (error := checks.contradiction(rule, where)) is not None]
    _check_ids(rule_set, where)
    return rule_set, tuple(lines)


def _tables(document: Mapping[str, Any]) -> list[dict[str, Any]]:
    """The rules; nothing where they are no tables, which `toml.convert` tells."""
    rules = document.get("rules")
    return rules if isinstance(rules, list) and all(isinstance(rule, dict) for rule in rules) else []


def _with(document: Mapping[str, Any], rules: list[dict[str, Any]]) -> Mapping[str, Any]:
    return {**document, "rules": rules} if _tables(document) else document


def _refuse(rule: Mapping[str, Any], where: str) -> None:
    if (error := checks.unknown_kind(rule, where)) is not None:
        raise error
    for _, error in (*checks.foreign_fields(rule, where), *checks.wrong_words(rule, where)):
        raise error
    if (error := checks.wrong_unit(rule, where)) is not None:
        raise error


def _known(rule: dict[str, Any], where: str, lines: list[str]) -> dict[str, Any] | None:
    """The part of a recorded rule that this version knows; None where it could never fire."""
    if (error := checks.unknown_kind(rule, where)) is not None:
        lines.append(str(error))
        return None
    rule = _looking_at_its_own(rule)
    for name, error in [*checks.foreign_fields(rule, where)]:
        lines.append(str(error))
        del rule[name]
    for name, error in [*checks.wrong_words(rule, where)]:
        if name in ("feature", "other") and name not in rule:
            lines.append(str(error))
            return None
        if name in rule:
            lines.append(str(error))
            rule = _replaced(rule, name)
    if (error := checks.wrong_unit(rule, where)) is not None:
        lines.append(str(error))
    return rule


def _looking_at_its_own(rule: dict[str, Any]) -> dict[str, Any]:
    """A kind that knows its feature took its error bar from whatever feature the rule named; without one it had none.
    Judged so still."""
    words = next(checks.words_of(field.type) for field in checks.fields(str(rule["kind"])) if field.name == "feature")
    named = rule.get("feature")
    if words is None or words is FEATURES or named in words:
        return rule
    bar: dict[str, Any] = {}
    if "sd" not in rule:
        bar = {"sd": sd_name(named)} if isinstance(named, str) else {"sd_factor": 0.0}
    return {**rule, "feature": next(iter(words)), **bar}


def _replaced(rule: dict[str, Any], name: str) -> dict[str, Any]:
    """A word that is not known, replaced where it must be: a feature or position that no rep has is no harm."""
    if name == "cue":
        return {**rule, "cue": Sound.STALLED}
    if name == "unit":
        return {**rule, "unit": unit_of(str(rule["feature"])) or Unit.ONE}
    return rule


def _check_ids(rule_set: RuleSet, where: str) -> None:
    twice = [name for name, times in Counter(rule.id for rule in rule_set.rules).items() if times > 1]
    if twice:
        raise BadToml(f"rule {min(twice)!r} stands there twice", where=where, hint="give every rule its own id")
