"""The measured promises as one HTML page: a table for a coach, charts, and tables for an engineer.

The page holds all that it shows: no script, no picture, no font and no style from anywhere else.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape
from importlib.resources import files
from typing import Any

import numpy as np

from imufeedback import __version__
from imufeedback.measure import chart, coach_words, people_table, scaling_page
from imufeedback.measure.checks import Measured
from imufeedback.measure.endurance import picture
from imufeedback.measure.rows import FIELDS, OFFLINE, of_methods
from imufeedback.measure.run import Report

OWN = "imufeedback"
_SETS = {
    "joint3d": "Two segments on a joint, against cameras: how far off the angle between them is",
    "broad": "One sensor moved fast or shaken, against cameras: how far off its lean is",
    "human_walk": "A person walking, no cameras: how far the lean is from another program that looks ahead",
    "synthetic": "Invented golfers whose angles are known exactly: how far off the hip is during the swings",
}
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


def page(report: Report) -> str:
    """The whole document."""
    style = files("imufeedback.measure").joinpath("page.css").read_text(encoding="utf-8")
    return "\n".join(
        [
            "<!DOCTYPE html>",
            '<html lang="en"><head><meta charset="utf-8">',
            '<meta name="viewport" content="width=device-width, initial-scale=1">',
            "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">",
            f"<title>imufeedback: what it promises, measured</title><style>{style}</style></head><body>",
            *_head(report),
            *_coach(report.lines),
            *_charts(report.rows),
            *scaling_page.section(report.rows),
            *picture.section(report.rows),
            '<div class="engineer">',
            *_checks(report.lines),
            *_rows(of_methods(report.rows)),
            *_people(report.rows),
            "</div></body></html>",
            "",
        ]
    )


def _head(report: Report) -> Iterable[str]:
    held = sum(line.ok for _, line in report.lines)
    yield "<h1>What imufeedback promises, measured</h1>"
    yield f"<p><strong>{held} of {len(report.lines)}</strong> promises hold in this run.</p>"
    if report.quick:
        yield "<p>This was the quick form: fewer players and shorter runs. The full form decides.</p>"
    if report.left_out:
        yield "<p>Left out, so nothing is said about it:</p><ul>"
        yield from (f"<li>{escape(one)}</li>" for one in report.left_out)
        yield "</ul>"
    if report.stopped:
        yield f"<p>Stopped at {escape(report.stopped)}: it and what comes after it is not measured.</p>"
    if report.tracebacks:
        yield "<details><summary>How steps failed</summary>"
        yield from (f"<pre>{escape(one)}</pre>" for one in report.tracebacks)
        yield "</details>"
    yield (
        '<p class="soft">The ± that the tool shows is one standard deviation: about 68 of 100 errors should be no '
        f"larger, and 95 no larger than twice that. Version {escape(__version__)}, players from seed {report.seed}.</p>"
    )


def _coach(lines: Sequence[tuple[str, Measured]]) -> Iterable[str]:
    yield "<h2>For the coach</h2>"
    yield '<table class="coach"><thead><tr><th scope="col">What</th><th scope="col" class="n">Measured</th>'
    yield '<th scope="col" class="n">Should be</th><th scope="col">Holds</th></tr></thead><tbody>'
    for _, line in lines:
        holds = coach_words.verdict(line)
        marked = f'<span class="no">{holds}</span>' if not line.ok else holds
        yield (
            f'<tr><th scope="row">{escape(coach_words.sentence(line.check))}</th>'
            f'<td class="n" data-name="measured">{escape(coach_words.amount(line.value, line.unit))}</td>'
            f'<td class="n" data-name="should be">{escape(coach_words.wanted(line))}</td>'
            f'<td data-name="holds">{marked}</td></tr>'
        )
    yield "</tbody></table>"


def _charts(rows: Sequence[dict[str, Any]]) -> Iterable[str]:
    rows = of_methods(rows)
    made = [chart_ for name in dict.fromkeys(str(row["set"]) for row in rows) for chart_ in _chart(name, rows)]
    if made:
        yield "<h2>Beside the well-known open filters</h2>"
        yield (
            "<p>Mean over all recordings of a set, in degrees; shorter is better. The dashed line is what the bare "
            "samples give a filter that looks ahead and is told the best heading. A name that begins with "
            f"“{OFFLINE}” looks ahead, which no live tool can. A bar with a slash is longer than there is room for.</p>"
        )
        yield from made


def _chart(name: str, rows: Sequence[dict[str, Any]]) -> Iterable[str]:
    """Total error where it has a meaning for all of the set and is what the set is for, else the lean."""
    mine = [row for row in rows if row["set"] == name]
    total = name != "broad" and all(row["total_rmse_deg"] is not None for row in mine)
    field = "total_rmse_deg" if total else "inclination_rmse_deg"
    values: dict[str, list[float]] = {}
    for row in mine:
        if row[field] is not None:
            values.setdefault(row["method"], []).append(row[field])
    if not values:
        return
    means = {method: float(np.mean(one)) for method, one in values.items()}
    floors = [row["floor_deg"] for row in mine if row["method"] == OWN and row["floor_deg"] is not None]
    title = _SETS.get(name, name)
    read = "; ".join(f"{method} {value:.2g}°" for method, value in sorted(means.items(), key=lambda item: item[1]))
    drawn = chart.bars(
        means,
        unit="°",
        highlight=OWN,
        floor=float(np.mean(floors)) if floors else None,
        title=f"{title}: {read}",
    )
    yield f"<figure><figcaption>{escape(title)}</figcaption>{drawn}</figure>"


def _checks(lines: Sequence[tuple[str, Measured]]) -> Iterable[str]:
    yield "<section><h2>For the engineer: lines</h2>"
    cells = (
        (name, line.check, "–" if line.value != line.value else f"{line.value:.4g}", str(line.limit), line.unit, line)
        for name, line in lines
    )
    yield _table_head(("set", "check", "value", "limit", "unit", "ok"), numbers=(2,))
    for *texts, line in cells:
        ok = "yes" if line.ok else '<span class="no">no</span>'
        yield f"<tr>{_cells(texts, numbers=(2,))}<td>{ok}</td></tr>"
    yield "</tbody></table></div></section>"


def _rows(rows: Sequence[dict[str, Any]]) -> Iterable[str]:
    if not rows:
        return
    numbers = tuple(range(3, len(FIELDS)))
    yield "<section><h2>For the engineer: rows</h2>"
    yield (
        "<p>RMS errors. Heading: about the vertical; inclination: the rest. Floor: the best heading at every sample "
        "with an offline filter. Methods beside ours get the shift in time that suits them best.</p>"
    )
    yield _table_head([_FIELDS[name] for name in FIELDS], numbers=numbers)
    for row in rows:
        yield f"<tr>{_cells([_cell(row.get(name)) for name in FIELDS], numbers=numbers)}</tr>"
    yield "</tbody></table></div></section>"


def _people(rows: Sequence[dict[str, Any]]) -> Iterable[str]:
    cells = people_table.table(rows)
    if not cells:
        return
    numbers = tuple(range(2, len(people_table.HEADS)))
    yield "<section><h2>For the engineer: people</h2>"
    yield (
        "<p>Hip and knee angles of people against cameras, on the samples that are shown; beside one VQF a sensor with "
        "the same calibration.</p>"
    )
    yield _table_head(people_table.HEADS, numbers=numbers)
    for row in cells:
        yield f"<tr>{_cells(row, numbers=numbers)}</tr>"
    yield "</tbody></table></div></section>"


def _cell(value: Any) -> str:
    if value is None:
        return "–"
    return value if isinstance(value, str) else f"{value:.2f}"


def _table_head(names: Sequence[str], numbers: Sequence[int]) -> str:
    heads = "".join(
        f'<th scope="col"{" class=n" if i in numbers else ""}>{escape(name)}</th>' for i, name in enumerate(names)
    )
    return f'<div class="scroll" tabindex="0"><table><thead><tr>{heads}</tr></thead><tbody>'


def _cells(texts: Sequence[str], numbers: Sequence[int]) -> str:
    return "".join(f"<td{' class=n' if i in numbers else ''}>{escape(text)}</td>" for i, text in enumerate(texts))
