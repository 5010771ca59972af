"""The long day on the page: memory, queues, delay and file over its hours."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Any, NamedTuple

from imufeedback.measure.curves import curves


class Panel(NamedTuple):
    """One small picture."""

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


def section(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """HTML of every long day among the rows; nothing when there is none."""
    for row in rows:
        if row.get("trial") == "endurance" and "samples" in row:
            yield from _day(row)


def _day(row: Mapping[str, Any]) -> Iterator[str]:
    samples, events = row["samples"], row["events"]
    yield "<h2>A long day</h2>"
    yield f"<p>{escape(_words(row))}</p>"
    for panel in PANELS:
        lines = {name: samples[column] for name, column in panel.lines.items()}
        last = "; ".join(f"{name} {_at_end(values)} {panel.unit}" for name, values in lines.items())
        picture = curves(samples["t_s"], lines, unit=panel.unit, title=f"{panel.caption}. At the end: {last}")
        yield f"<figure><figcaption>{escape(panel.caption)}</figcaption>{picture}</figure>"
    if row["faults"]:
        yield '<p class="no">What went wrong:</p><ul>'
        yield from (f"<li>{escape(one)}</li>" for one in row["faults"])
        yield "</ul>"
    counts = ", ".join(f"{count} {name}" for name, count in events.items())
    yield f'<p class="soft">What came out: {escape(counts)}.</p>'


def _words(row: Mapping[str, Any]) -> str:
    seconds = row["seconds"]
    length = f"{seconds / 3600:.3g} hours" if seconds > 3600 else f"{seconds / 60:.3g} minutes"
    return (
        f"{length} of three sensors on a bad radio – packets lost, repeated and out of order, stalls, broken links, "
        f"restarts, wrong clocks – with window, recording and sound, played in {row['took_s'] / 60:.3g} minutes: "
        f"{row['packets']} packets, {row['frames']} frames, {row['sound']['played']} sounds."
    )


def _at_end(values: Sequence[float | None]) -> str:
    last = next((one for one in reversed(values) if one is not None), None)
    return "–" if last is None else f"{last:.3g}"
