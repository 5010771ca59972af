"""Whether a rule can fire at all."""

from __future__ import annotations

from typing import TYPE_CHECKING

from imufeedback.errors import BadToml
from imufeedback.rules.kinds import available
from imufeedback.rules.vocabulary import FEATURES, MARKS, SOUNDS, UNITS, WORDS_OF, unit_of
from imufeedback.spelling import meant, nearest

if TYPE_CHECKING:
    from imufeedback.rules.ruleset import Rule


def check_rule(rule: Rule, where: str) -> None:
    """Raises BadToml naming file, rule, field, and the nearest word that is known."""
    if rule.kind not in available():
        raise BadToml(
            f"rule {rule.id!r} has the unknown kind {rule.kind!r}",
            where=where,
            hint=f"choose one of {', '.join(available())}",
        )
    _check_features(rule, where)
    if rule.unit not in UNITS.values():
        raise _unknown(rule, "unit", rule.unit, where, f"choose one of {', '.join(dict.fromkeys(UNITS.values()))}")
    expected = rule.unit if rule.feature is None else unit_of(rule.feature)
    if expected is not None and rule.unit != expected:
        what = f"rule {rule.id!r}: unit {rule.unit!r} is not that of the feature {rule.feature}"
        raise BadToml(what, where=where, hint=f"write {expected!r}")
    if rule.at not in MARKS:
        raise _unknown(rule, "at", rule.at, where, meant(rule.at, MARKS))
    check_sound(rule.cue, f"rule {rule.id!r}: cue", where)
    _check_range(rule, where)


def check_sound(sound: str, what: str, where: str) -> None:
    """Raises BadToml for a sound that does not exist."""
    if sound not in SOUNDS:
        raise BadToml(f"{what} {sound!r} does not exist", where=where, hint=meant(sound, SOUNDS))


def _check_features(rule: Rule, where: str) -> None:
    for field in ("feature", "other", "sd"):
        name = getattr(rule, field)
        if name is None and field in WORDS_OF.get(rule.kind, ()):
            what = f"rule {rule.id!r}: {field} is missing, and the kind {rule.kind!r} looks at nothing without it"
            raise BadToml(what, where=where, hint="name a feature of report/SUMMARY.md")
        if name is not None and name not in FEATURES:
            near = nearest(name, FEATURES)
            hint = f"is {near!r} meant?" if near else "report/SUMMARY.md lists them"
            raise _unknown(rule, field, name, where, hint)


def _check_range(rule: Rule, where: str) -> None:
    low, high = rule.allowed or (rule.limit, rule.limit)
    if not low <= rule.limit <= high:
        raise BadToml(
            f"rule {rule.id!r}: limit {rule.limit:g} is not inside its own range",
            where=where,
            hint=f"choose {low:g} to {high:g}",
        )
    if rule.low is not None and rule.low > rule.limit:
        what = f"rule {rule.id!r}: low {rule.low:g} is above limit {rule.limit:g}, so nothing lies between"
        raise BadToml(what, where=where, hint="exchange the two")


def _unknown(rule: Rule, field: str, word: str, where: str, hint: str) -> BadToml:
    return BadToml(f"rule {rule.id!r}: {field} {word!r} does not exist", where=where, hint=hint)
