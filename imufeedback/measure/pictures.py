"""The pictures of the page of promises: methods side by side, cost against size, a long day over its hours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from imufeedback.measure.rows import of_methods
from imufeedback.measure.scaling import TRIAL
from imufeedback.report import svg

OWN = "imufeedback"
Row = Mapping[str, Any]
Captioned = tuple[str, str]
"""(caption, SVG)"""
_SETS = {
    "joint3d": "Two segments on a joint, against cameras: how far off the angle between them is",
    "broad": "One sensor moved fast or shaken, against cameras: how far off its lean is",
    "human_walk": "A person walking, no cameras: how far the lean is from another program that looks ahead",
    "synthetic": "Invented golfers whose angles are known exactly: how far off the hip is during the swings",
}


def side_by_side(rows: Sequence[Row]) -> Iterator[Captioned]:
    """For each set, the mean of every method: of the total error where it has a meaning for all of the set and is what
    the set is for, else of the lean."""
    rows = of_methods(rows)
    for name in dict.fromkeys(str(row["set"]) for row in rows):
        mine = [row for row in rows if row["set"] == name]
        total = name != "broad" and all(row["total_rmse_deg"] is not None for row in mine)
        field = "total_rmse_deg" if total else "inclination_rmse_deg"
        values: dict[str, list[float]] = {}
        for row in mine:
            if row[field] is not None:
                values.setdefault(row["method"], []).append(row[field])
        if not values:
            continue
        means = {method: float(np.mean(errors)) for method, errors in values.items()}
        floors = [row["floor_deg"] for row in mine if row["method"] == OWN and row["floor_deg"] is not None]
        caption = _SETS.get(name, name)
        read = "; ".join(f"{method} {value:.2g}°" for method, value in sorted(means.items(), key=lambda item: item[1]))
        floor = float(np.mean(floors)) if floors else None
        yield caption, svg.bars(means, unit="°", highlight=OWN, floor=floor, title=f"{caption}: {read}")


class CostBySize(NamedTuple):
    """A curve of cost against size."""

    caption: str
    picture: str
    heads: Sequence[str]
    rows: Sequence[Sequence[float]]


def costs(rows: Sequence[Row]) -> list[CostBySize]:
    return [_cost(row) for row in rows if row.get("trial") == TRIAL]


def _cost(row: Row) -> CostBySize:
    caption = (
        f"Cost against {row['what']}, {row['cost_unit']}: exponent {row['exponent']:.2f}; {row['each']:.3g} for each "
        f"and {row['fixed']:.3g} beside them, r² {row['r2']:.3f}"
    )
    heads = (row["unit"], row["cost_unit"], f"for each of the {row['unit']}")
    sizes, spent = np.array(row["sizes"]), np.array(row["costs"])
    return CostBySize(caption, against_size(row, caption), heads, list(zip(sizes, spent, spent / sizes, strict=True)))


def against_size(row: Row, title: str) -> str:
    """Points on logarithmic axes, and a dashed line for a cost in proportion to the size, from the first point on: a
    point above it costs more than its share."""
    sizes, spent = np.array(row["sizes"]), np.array(row["costs"])
    x, y = np.log10(sizes), np.log10(spent)
    in_proportion = svg.PlotLine(x, y[0] + x - x[0], "floor", "in proportion to the size")
    return svg.draw(
        svg.Plot(
            title,
            row["unit"],
            row["cost_unit"],
            [in_proportion, svg.PlotLine(x, y, "own", dots=True)],
            x_ticks=[(at, f"{size:.3g}") for at, size in zip(x, sizes, strict=True)],
            y_ticks=[(at, f"{cost:.3g}") for at, cost in zip(y, spent, strict=True)],
        )
    )


class Panel(NamedTuple):
    """One picture of a long day."""

    caption: str
    unit: str
    lines: Mapping[str, str]
    """Name on the picture to column of the samples."""


PANELS = (
    Panel("Memory of the whole process", "MB", {"memory": "memory_mb"}),
    Panel(
        "Most that ever waited in a queue until then",
        "items",
        {"engine": "engine_peak", "recording": "journal_peak", "window": "feed_peak"},
    ),
    Panel(
        "From the arrival of a packet to its sound and to its events: medians of the last while",
        "ms",
        {"to sound": "sound_ms", "to events": "event_ms"},
    ),
    Panel("Recording, and the bytes of the packets in it", "MB", {"recording": "file_mb", "packets": "raw_mb"}),
)
KINDS = ("own", "second", "third")


class DayCost(NamedTuple):
    """A long day."""

    words: str
    pictures: Sequence[tuple[str, Sequence[tuple[str, str]], str]]
    """(caption, (class, name) of its lines, SVG)"""
    faults: Sequence[str]
    counts: str


def days(rows: Sequence[Row]) -> list[DayCost]:
    """Memory, queues, delay and file over the hours of every long day among the rows."""
    return [_day(row) for row in rows if row.get("trial") == "endurance" and "samples" in row]


def _day(row: Row) -> DayCost:
    seconds = row["seconds"]
    words = (
        f"{_length(seconds)} of three sensors on a bad radio – packets lost, repeated and out of order, stalls, "
        "broken links, restarts, wrong clocks – with window, recording and sound, played in "
        f"{row['took_s'] / 60:.3g} minutes: {row['packets']} packets, {row['frames']} frames, "
        f"{row['sound']['played']} sounds."
    )
    pictures = [
        (panel.caption, list(zip(KINDS, panel.lines, strict=False)), _over_hours(panel, row["samples"]))
        for panel in PANELS
    ]
    return DayCost(
        words, pictures, row["faults"], ", ".join(f"{count} {name}" for name, count in row["events"].items())
    )


def _length(seconds: float) -> str:
    return f"{seconds / 3600:.3g} hours" if seconds > 3600 else f"{seconds / 60:.3g} minutes"


def _over_hours(panel: Panel, samples: Mapping[str, Sequence[float | None]]) -> str:
    """Lines over time, from 0 on; a gap is drawn through to the next value."""
    columns = {name: np.array(samples[column], dtype=np.float64) for name, column in panel.lines.items()}
    t_s = np.array(samples["t_s"], dtype=np.float64)
    each_s, unit = next(((s, unit) for s, unit in ((3600, "h"), (60, "min")) if t_s.max(initial=0) >= 2 * s), (1, "s"))
    lines, ends = [], []
    for (name, values), css in zip(columns.items(), KINDS, strict=False):
        known = np.isfinite(values)
        lines.append(svg.PlotLine(t_s[known] / each_s, values[known], css, name))
        ends.append(f"{name} {values[known][-1]:.3g} {panel.unit}" if known.any() else f"{name} –")
    title = f"{panel.caption}. At the end: {'; '.join(ends)}"
    return svg.draw(svg.Plot(title, unit, panel.unit, lines, y_include=(0.0,)))
