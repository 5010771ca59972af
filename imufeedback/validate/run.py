"""Runs sets of checks and collects what came of them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from imufeedback import __version__
from imufeedback.errors import ImuFeedbackError
from imufeedback.validate import sets
from imufeedback.validate.checks import Context, LeftOut, Measured, Step, exactly


@dataclass
class Report:
    """All lines, and what is missing among them."""

    quick: bool
    seed: int
    lines: list[tuple[str, Measured]] = field(default_factory=list)
    """(set, line)"""
    left_out: list[str] = field(default_factory=list)
    rows: list[dict[str, Any]] = field(default_factory=list)
    """Figures behind the lines, one per set, trial and method."""

    @property
    def ok(self) -> bool:
        """There are lines, and every one holds. What was left out says nothing either way; it is listed."""
        return bool(self.lines) and all(line.ok for _, line in self.lines)

    def to_dict(self) -> dict[str, Any]:
        """JSON values; ``limit`` is ``[low, high]``, null where that end is open; a value that is missing is null."""
        return {
            "version": __version__,
            "quick": self.quick,
            "seed": self.seed,
            "ok": self.ok,
            "checks": [
                {
                    "set": name,
                    "check": line.check,
                    "value": line.value if line.value == line.value else None,
                    "limit": [line.limit.low, line.limit.high],
                    "unit": line.unit,
                    "ok": line.ok,
                }
                for name, line in self.lines
            ],
            "rows": list(self.rows),
            "left_out": list(self.left_out),
        }


def run_sets(names: Sequence[str], context: Context, on_step: Callable[[str], None] = lambda title: None) -> Report:
    """Measure all sets in their order; `on_step` is told the title of every step before it begins.

    A step that fails outright is a line that does not hold, never a missing one. Raises UsageError for an unknown set.
    """
    report = Report(context.quick, context.seed, rows=context.rows)
    for name, step in [(one, step) for one in names for step in sets.steps(one)]:
        on_step(step.title)
        try:
            report.lines += [(name, line) for line in _measured(step, context)]
        except LeftOut as why:
            report.left_out.append(f"{name}: {step.title}: {why}")
    return report


def _measured(step: Step, context: Context) -> Iterable[Measured]:
    try:
        return list(step.measure(context))
    except ImuFeedbackError as error:
        return [Measured(f"{step.title}: {error}", float("nan"), exactly(0), "failed")]
