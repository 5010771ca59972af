"""The measured promises as one HTML page: a table for a coach, charts, and tables for an engineer.

The page holds all that it shows: no script, no picture, no font and no style from anywhere else.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from imufeedback.measure import coach_words, people_table, pictures
from imufeedback.measure.checks import Measured
from imufeedback.measure.rows import FIELDS, OFFLINE, of_methods
from imufeedback.measure.run import Report
from imufeedback.report.render import render

_FIELDS = {
    "set": "set",
    "trial": "trial",
    "method": "method",
    "total_rmse_deg": "total °",
    "heading_rmse_deg": "heading °",
    "inclination_rmse_deg": "inclination °",
    "floor_deg": "floor °",
    "seconds": "s",
}


class Table(NamedTuple):
    """A table for an engineer."""

    title: str
    text: str
    heads: Sequence[str]
    texts: int
    """Columns at the left that are texts; the others are numbers."""
    rows: Sequence[Sequence[str]]


def page(report: Report) -> str:
    """The whole document."""
    return render(
        "imufeedback.measure",
        "page.html",
        report=report,
        held=sum(line.ok for _, line in report.lines),
        coach=[_coach(line) for _, line in report.lines],
        offline=OFFLINE,
        charts=list(pictures.side_by_side(report.rows)),
        costs=pictures.costs(report.rows),
        days=pictures.days(report.rows),
        lines=[(name, line, _value(line)) for name, line in report.lines],
        tables=[table for table in (_methods(report), _people(report)) if table.rows],
    )


def _coach(line: Measured) -> tuple[str, str, str, str]:
    return (
        coach_words.sentence(line.check),
        coach_words.amount(line.value, line.unit),
        coach_words.wanted(line),
        coach_words.holds(line),
    )


def _value(line: Measured) -> str:
    return "–" if line.value != line.value else f"{line.value:.4g}"


def _methods(report: Report) -> Table:
    text = (
        "RMS errors. Heading: about the vertical; inclination: the rest. Floor: the best heading at every sample with "
        "an offline filter. Methods beside ours get the shift in time that suits them best."
    )
    rows = [[_cell(row.get(name)) for name in FIELDS] for row in of_methods(report.rows)]
    return Table("rows", text, [_FIELDS[name] for name in FIELDS], 3, rows)


def _people(report: Report) -> Table:
    text = (
        "Hip and knee angles of people against cameras, on the samples that are shown; beside one VQF a sensor with "
        "the same calibration."
    )
    return Table("people", text, people_table.HEADS, 2, people_table.table(report.rows))


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else f"{value:.2f}"
