"""What a check is."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


@dataclass(frozen=True, slots=True)
class Band:
    """Where a value must lie, ends included; None leaves an end open."""

    low: float | None
    high: float | None

    def holds(self, value: float) -> bool:
        """False for NaN: what could not be measured does not hold."""
        return value == value and (self.low is None or value >= self.low) and (self.high is None or value <= self.high)

    def __str__(self) -> str:
        if self.low is None:
            return "any" if self.high is None else f"≤ {self.high:g}"
        if self.high is None:
            return f"≥ {self.low:g}"
        return f"{self.low:g}" if self.low == self.high else f"{self.low:g} to {self.high:g}"


def at_most(high: float) -> Band:
    return Band(None, high)


def exactly(value: float) -> Band:
    return Band(value, value)


@dataclass(frozen=True, slots=True)
class Measured:
    """One line of a set."""

    check: str
    value: float
    limit: Band
    unit: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "value", float(self.value))  # numpy's numbers are not JSON's

    @property
    def ok(self) -> bool:
        return bool(self.limit.holds(self.value))


@dataclass(frozen=True, slots=True)
class Context:
    """How to measure."""

    work: Path
    """A folder of its own for files that are made on the way."""
    data: Path | None
    """Folder of the recordings of people; None where there is none."""
    quick: bool = False
    """Fewer players, shorter runs; the same lines."""
    seed: int = 1
    rows: list[dict[str, Any]] = field(default_factory=list)
    """Figures behind the lines, one per set, trial and method (`rows.py`); steps add to it."""
    say: Callable[[str], None] = lambda part: None
    """Told what a long step is at: a trial, a player."""


@dataclass(frozen=True, slots=True)
class SetPart:
    """A piece of a set that is measured in one go."""

    title: str
    measure: Callable[[Context], Iterable[Measured]]


class LeftOut(Exception):
    """A step cannot be measured here; the text says why."""
