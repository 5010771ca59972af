"""Orientation filters. Each module here is one filter: a class `Filter` that follows `OrientationFilter`.

To add one, add a file: its name is the filter's name, and the contract test runs over it by itself.
"""

from __future__ import annotations

import importlib
import pkgutil
from typing import Any, Protocol

from imufeedback.errors import UsageError
from imufeedback.records import Bools, Floats


class OrientationFilter(Protocol):
    """A causal six-axis filter at a fixed sample period."""

    def __init__(self, period_s: float) -> None: ...

    def run(self, gyr_rad_s: Floats, acc_m_s2: Floats) -> tuple[Floats, Floats, Bools]:
        """(N, 3) finite samples in; after each of them (N, 4) `q_es`, (N, 3) gyroscope bias, and (N,) whether that bias
        was observed (at rest), not inferred from motion, out."""
        ...

    def again(self) -> OrientationFilter:
        """A filter that has seen no sample yet, at the same period; what is known of the bias it keeps."""
        ...

    @property
    def state(self) -> Any:
        """The filter's whole memory, independent of later updates; can be pickled."""
        ...

    @state.setter
    def state(self, value: Any) -> None: ...


def available() -> tuple[str, ...]:
    """Names of all filters, sorted."""
    return tuple(sorted(module.name for module in pkgutil.iter_modules(__path__)))


def make(name: str, period_s: float) -> OrientationFilter:
    """A new filter. Raises UsageError for a name that no file has."""
    if name not in available():
        raise UsageError(f"no filter is called {name!r}", hint=f"choose one of {', '.join(available())}")
    made: OrientationFilter = importlib.import_module(f"{__name__}.{name}").Filter(period_s)
    return made
