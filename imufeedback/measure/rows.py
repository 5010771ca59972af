"""Figures behind the lines: one row for each set, trial and method, with the same fields everywhere."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from imufeedback.measure.checks import Context
from imufeedback.measure.optics import Parts

FIELDS = (
    "set",
    "trial",
    "method",
    "total_rmse_deg",
    "heading_rmse_deg",
    "inclination_rmse_deg",
    "floor_deg",
    "seconds",
)
METHODS = ("imufeedback", "vqf", "madgwick", "mahony", "ekf", "mekf")
"""Causal ones. A method that looks ahead has `OFFLINE` before its name."""
OFFLINE = "offline-"

T = TypeVar("T")


def add_row(
    context: Context, set_name: str, trial: str, method: str, parts: Parts, seconds: float, floor_deg: float | None
) -> None:
    """One more row; what has no meaning for a set is null, and so is what could not be measured."""
    if method.removeprefix(OFFLINE) not in METHODS:
        raise ValueError(f"no method is called {method!r}")
    values: tuple[Any, ...] = (set_name, trial, method, parts.total, parts.heading, parts.inclination)
    values += (floor_deg, seconds)
    context.rows.append({name: _json(value) for name, value in zip(FIELDS, values, strict=True)})


def of_methods(rows: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Those rows that compare methods: other sets keep figures of another kind."""
    return [dict(row) for row in rows if all(name in row for name in FIELDS)]


def timed(work: Callable[[], T]) -> tuple[T, float]:
    """What the work gives, and how many seconds it took."""
    begun = time.perf_counter()
    made = work()
    return made, time.perf_counter() - begun


def _json(value: Any) -> Any:
    """Plain numbers; NaN is null."""
    if value is None or isinstance(value, str):
        return value
    number = float(value)
    return number if number == number else None
