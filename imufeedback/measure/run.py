"""Runs sets of checks and collects what came of them."""

from __future__ import annotations

import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from imufeedback import __version__
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import sets
from imufeedback.measure.checks import Context, LeftOut, Measured, SetPart, exactly


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
    tracebacks: list[str] = field(default_factory=list)
    """Of steps that failed in a way that nobody foresaw, each with its set and title before it."""
    stopped: str = ""
    """The step at which a person stopped it; empty when all was measured."""

    @property
    def ok(self) -> bool:
        """All was measured, there are lines, and every one holds. What was left out says nothing either way; it is
        listed."""
        return not self.stopped and bool(self.lines) and all(line.ok for _, line in self.lines)

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
            "tracebacks": list(self.tracebacks),
            "stopped": self.stopped,
        }


def run_sets(names: Sequence[str], context: Context, on_step: Callable[[str], None] = lambda title: None) -> Report:
    """Measure all sets in their order; `on_step` is told the title of every step before it begins.

    A step that fails, whatever it raises, costs its own lines only: those that it gave before stay, and one that does
    not hold says what happened. KeyboardInterrupt ends it with what was measured so far. Raises UsageError for an
    unknown set.
    """
    report = Report(context.quick, context.seed, rows=context.rows)
    for name, step in [(one, step) for one in names for step in sets.steps(one)]:
        try:
            on_step(step.title)
            _measure(report, name, step, context)
        except KeyboardInterrupt:
            report.stopped = f"{name}: {step.title}"
            break
    return report


def _measure(report: Report, name: str, step: SetPart, context: Context) -> None:
    """Line by line, so that what came before a failure is kept."""
    try:
        for line in step.measure(context):
            report.lines.append((name, line))
    except LeftOut as why:
        report.left_out.append(f"{name}: {step.title}: {why}")
    except ImuFeedbackError as error:
        report.lines.append((name, _failed(step, str(error))))
    except (Exception, SystemExit) as error:  # noqa: BLE001 - hours of other lines must not be lost with this one
        text = " ".join(str(error).split())
        report.lines.append((name, _failed(step, f"{type(error).__name__}: {text}" if text else type(error).__name__)))
        report.tracebacks.append(f"{name}: {step.title}\n{traceback.format_exc()}")


def _failed(step: SetPart, why: str) -> Measured:
    return Measured(f"{step.title}: {why}", float("nan"), exactly(0), "failed")
