"""The words of the rules that ship: what rule sets from before rules had their own are told with."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import NamedTuple

from imufeedback import resources
from imufeedback.rules import parse_rule_set


class Words(NamedTuple):
    """What is said to a rule that was broken, beside its text."""

    short: str | None = None
    drill: str | None = None


def words_of(rule: str) -> Words:
    """Short words and drill of a rule, by its id; empty for one that does not ship."""
    return _all().get(rule, Words())


@cache
def _all() -> Mapping[str, Words]:
    texts = (text for kind in ("drills", "rules") for text in resources.shipped(kind))
    return {rule.id: Words(rule.short, rule.drill) for text in texts for rule in parse_rule_set(text, "shipped").rules}
