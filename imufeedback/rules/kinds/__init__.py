"""Kinds of rules: each module here is one, with a function `check(rule, rep) -> Outcome | None`.

To add one, add a file; ``keeps_falling.py`` is the kind ``keeps-falling``. Features that a kind looks at by itself,
beside those that a rule names, stand in its ``FEATURES``: a rep without their angles is not judged at all.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imufeedback.records import Rep, Verdict, sd_name

if TYPE_CHECKING:
    from imufeedback.rules.ruleset import Rule


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule found wrong."""

    t_s: float
    value: float
    verdict: Verdict
    sd: float = 0.0
    """One standard deviation of the value."""


Check = Callable[["Rule", Rep], Outcome | None]


def available() -> tuple[str, ...]:
    """Names of all kinds, sorted."""
    return tuple(sorted(module.name.replace("_", "-") for module in pkgutil.iter_modules(__path__)))


def kind(name: str) -> Check:
    """The check of a kind. Raises ModuleNotFoundError for a name that `available` does not list."""
    check: Check = importlib.import_module(f"{__name__}.{name.replace('-', '_')}").check
    return check


def looked_at(rule: Rule) -> frozenset[str]:
    """Features of a rep that a rule looks at, of those that there are."""
    module = importlib.import_module(f"{__name__}.{rule.kind.replace('-', '_')}")
    own: tuple[str, ...] = getattr(module, "FEATURES", ())
    return frozenset(one for one in (*own, rule.feature, rule.other, rule.sd) if one is not None)


def spread(rule: Rule, rep: Rep) -> float:
    """One standard deviation of the rule's value, in the rule's unit: the feature that the rule names, or the one that
    stands beside its own feature."""
    if rule.sd is not None:
        return rule.sd_factor * rep.features.get(rule.sd, 0.0)
    return rule.sd_factor * rep.features.get(sd_name(rule.feature), 0.0) if rule.feature else 0.0


def verdict(miss: float, sd: float) -> Verdict | None:
    """Verdict for a value that misses its limit by `miss` (> 0) with an error bar of `sd`; None when the limit is met.

    Where the error bar spans the limit, from either side, nothing is certain: ``unsure``. A fault lies beyond it.
    """
    if miss > sd:
        return Verdict.FAULT
    return Verdict.UNSURE if miss > -sd else None


def judged(rule: Rule, rep: Rep, value: float, miss: float, t_s: float) -> Outcome | None:
    """Outcome for a value that misses its limit by `miss`; None when it does not."""
    sd = spread(rule, rep)
    found = verdict(miss, sd)
    return Outcome(t_s, value, found, sd) if found else None


def when(rule: Rule, rep: Rep) -> float:
    """The instant that a finding points at: the rule's mark, or impact, or the rep's end where that is missing."""
    return rep.marks.get(f"{rule.at}_s", rep.end_s)
