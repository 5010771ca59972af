"""Kinds of rules: each module here is one, with a function `check(rule, rep) -> Outcome | None`.

To add one, add a file; ``keeps_falling.py`` is the kind ``keeps-falling``.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from imufeedback.records import Rep, Verdict

if TYPE_CHECKING:
    from imufeedback.rules.ruleset import Rule


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a rule found wrong."""

    t_s: float
    value: float
    verdict: Verdict


Check = Callable[["Rule", Rep], Outcome | None]


def available() -> tuple[str, ...]:
    """Names of all kinds, sorted."""
    return tuple(sorted(module.name.replace("_", "-") for module in pkgutil.iter_modules(__path__)))


def kind(name: str) -> Check:
    """The check of a kind. Raises ModuleNotFoundError for a name that `available` does not list."""
    check: Check = importlib.import_module(f"{__name__}.{name.replace('-', '_')}").check
    return check


def spread(rule: Rule, rep: Rep) -> float:
    """One standard deviation of the rule's value, in the rule's unit."""
    return rule.sd_factor * rep.features.get(rule.sd, 0.0) if rule.sd else 0.0


def verdict(miss: float, sd: float) -> Verdict | None:
    """Verdict for a value that misses its limit by `miss` (> 0) with an error bar of `sd`; None when the limit is met.

    Inside the error bar, on either side of the limit, nothing is certain: a value just short of it is ``unsure`` only
    when it has missed the limit, so that a player who meets it is never accused.
    """
    if miss <= 0:
        return None
    return Verdict.FAULT if miss > sd else Verdict.UNSURE
