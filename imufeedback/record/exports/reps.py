"""One row a rep as CSV: positions, features and what was found."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from pathlib import Path

from imufeedback.document import JudgedRep
from imufeedback.foreign_text import cell as harmless
from imufeedback.record.exports import ExportSource
from imufeedback.record.files import whole_file
from imufeedback.records import Verdict

FIRST = ("rep", "kind", "start_s", "end_s")
LAST = ("faults", "unsure", "void")

Cell = str | int | float | None


def write(source: ExportSource, out: Path) -> str:
    reps = [rep for rep in source.summary.reps if rep.end_s >= source.from_s and rep.start_s <= source.to_s]
    cells = [row(rep) for rep in reps]
    names = columns(cells)
    with whole_file(out) as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(names)
        for one in cells:
            rows.writerow([_text(one.get(name)) for name in names])
    return f"{len(reps)} reps"


def row(rep: JudgedRep) -> dict[str, Cell]:
    """The cells of a rep, by column; a number that is not known is None."""
    return {
        "rep": rep.index + 1,
        "kind": rep.kind,
        "start_s": _number(rep.start_s),
        "end_s": _number(rep.end_s),
        **{f"position_{name}": _number(value) for name, value in rep.positions.items()},
        **{name: _number(value) for name, value in rep.features.items()},
        "faults": _rules(rep, Verdict.FAULT),
        "unsure": _rules(rep, Verdict.UNSURE),
        "void": rep.void or "",
    }


def columns(rows: Iterable[Mapping[str, Cell]]) -> list[str]:
    """Names of all columns of these rows: positions before features, each in the order in which it first comes."""
    found = dict.fromkeys(name for one in rows for name in one if name not in FIRST + LAST)
    positions = [name for name in found if name.startswith("position_")]
    return [*FIRST, *positions, *(name for name in found if not name.startswith("position_")), *LAST]


def _text(cell: Cell) -> str:
    """Names are a person's own words: none of them may be a formula in a spreadsheet."""
    return "" if cell is None else harmless(cell) if isinstance(cell, str) else str(cell)


def _number(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _rules(rep: JudgedRep, verdict: Verdict) -> str:
    return " ".join(finding.rule for finding in rep.found(verdict))
