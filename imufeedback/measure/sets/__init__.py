"""Sets of checks. Each module here is one: a tuple ``STEPS`` of `checks.SetPart`. To add one, add a file."""

from __future__ import annotations

import importlib
import pkgutil

from imufeedback.errors import UsageError
from imufeedback.measure.checks import SetPart


def available() -> tuple[str, ...]:
    """Names of all sets, sorted."""
    return tuple(sorted(module.name for module in pkgutil.iter_modules(__path__)))


def steps(name: str) -> tuple[SetPart, ...]:
    """The steps of one set. Raises UsageError for a name that no file has."""
    if name not in available():
        raise UsageError(f"no set is called {name!r}", hint=f"choose one of {', '.join(available())}")
    found: tuple[SetPart, ...] = importlib.import_module(f"{__name__}.{name}").STEPS
    return found
