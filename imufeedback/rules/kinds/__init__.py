"""Kinds of rules: each module here is one, a `Rule` of the name `Kind` with exactly the fields that it has.

To add one, add a file; ``keeps_falling.py`` is the kind ``keeps-falling``, which is also its tag. Features that a kind
looks at by itself, beside those that a rule names, belong into its `looked_at`. Names that a kind had before stand in
its ``FORMERLY``.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Mapping
from functools import cache
from types import ModuleType

from imufeedback.rules.rule import Rule


@cache
def kinds() -> Mapping[str, type[Rule]]:
    """Every kind by its name, sorted."""
    return {name: module.Kind for name, module in _modules().items()}


@cache
def formerly() -> Mapping[str, str]:
    """Name of a kind by the one that it had before."""
    return {old: name for name, module in _modules().items() for old in getattr(module, "FORMERLY", ())}


def _modules() -> dict[str, ModuleType]:
    names = sorted(module.name for module in pkgutil.iter_modules(__path__))
    return {name.replace("_", "-"): importlib.import_module(f"{__name__}.{name}") for name in names}
