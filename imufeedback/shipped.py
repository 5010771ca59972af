"""The words of the rules that ship: what rule sets from before rules had their own are told with. And the causes behind
findings: those that ship, and a coach's own before them."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import NamedTuple

from imufeedback import resources
from imufeedback.errors import BadFile, BadToml
from imufeedback.rules import parse_rule_set
from imufeedback.rules.cause import Cause, parse_causes, together


class Words(NamedTuple):
    """What is said to a rule that was broken, beside its text."""

    short: str | None = None
    drill: str | None = None


def words_of(rule: str) -> Words:
    """Short words and drill of a rule, by its id; empty for one that does not ship."""
    return _all().get(rule, Words())


def causes() -> tuple[Cause, ...]:
    """Every cause, the weightiest first. A file of one's own that cannot be read is left out: `cause_troubles`."""
    return _causes(resources.data_folder())[0]


def cause_troubles() -> tuple[str, ...]:
    """A line for each file of causes that could not be read."""
    return _causes(resources.data_folder())[1]


@cache
def _causes(folder: Path) -> tuple[tuple[Cause, ...], tuple[str, ...]]:
    """For one data folder; read once, as it is asked for after every rep."""
    own: list[Cause] = []
    troubles: list[str] = []
    try:
        names = sorted(one.stem for one in (folder / "causes").glob("*.toml"))
    except OSError as error:
        names, troubles = [], [f"causes: {error.strerror}"]
    for name in names:
        try:
            own += parse_causes(resources.text("causes", name), f"{name}.toml")
        except (BadToml, BadFile) as error:
            troubles.append(f"causes {name}: {error}")
    built_in = [one for text in resources.shipped("causes") for one in parse_causes(text, "shipped")]
    return together(own, built_in), tuple(troubles)


@cache
def _all() -> Mapping[str, Words]:
    texts = (text for kind in ("drills", "rules") for text in resources.shipped(kind))
    return {rule.id: Words(rule.short, rule.drill) for text in texts for rule in parse_rule_set(text, "shipped").rules}
