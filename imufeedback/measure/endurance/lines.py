"""What a long day must reach, from what its process saw; and the step of the set `speed` that plays it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.measure import process
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly

DAY_S = 8 * 3600.0
QUICK_S = 120.0
QUICK_KEEP_S = 30.0
"""In a quick run the body keeps so much for a calibration, in place of four minutes, so that its memory comes to
rest."""
SETTLED_S = 900.0
"""By then the last minutes are full that the body, the window and the clocks keep."""
GROWTH_MB, QUICK_GROWTH_MB = 50.0, 500.0
"""A day has a few thousand reps and sounds, of each of which some hundred bytes stay; the window's own 200 reps are
full after half an hour. The quick form multiplies a minute by 480, and with it what the first reps leave."""
QUEUE_ITEMS = 200
"""One second of three sensors: after a stall of 0.4 s all of it comes at once."""
RECORDING_ITEMS = 2000
"""The day is played several times faster than life, so what waits for the disk is that many times more: this is some
ten seconds of life, which is two or three of a disk."""
PERIOD_MS = 10.0
"""Of the sound device: a sound waits for its next one, so that a median of few moves by up to as much."""
LIMIT_S = 6 * 3600.0


def endurance(context: Context) -> Iterator[Measured]:
    """Pipeline, recording, sound and window through a day with faults, in a process of its own."""
    seconds = QUICK_S if context.quick else DAY_S
    folder = context.work / "endurance"
    folder.mkdir(exist_ok=True)
    found = child(seconds, context.seed, folder, keep_s=QUICK_KEEP_S if context.quick else None)
    context.rows.append({"set": "speed", "trial": "endurance", **found})
    yield from lines(found)


STEP = SetPart("endurance", endurance)


def child(seconds: float, seed: int, folder: Path, *, keep_s: float | None = None) -> dict[str, Any]:
    """Play a day in a process without a screen; `folder` gets its recording. Raises ImuFeedbackError, LeftOut."""
    day = ("imufeedback.measure.endurance", seconds, seed, folder, *(() if keep_s is None else (keep_s,)))
    found: dict[str, Any] = process.child("-m", *day, failed="the day ended early", where="endurance", limit_s=LIMIT_S)
    return found


def lines(found: Mapping[str, Any]) -> Iterator[Measured]:
    """The lines of one day's document. Pure: a document of another run, or a changed one, can be judged too."""
    whole = found["seconds"] >= DAY_S
    name = f"long day ({_length(found['seconds'])})"
    columns = {key: _column(values) for key, values in found["samples"].items()}
    growth = f"{name}: memory growth after the first 15 minutes"
    if not whole:
        growth = f"{name}: memory growth, carried on from its last half to 8 h"
    yield Measured(growth, growth_mb(columns), at_most(GROWTH_MB if whole else QUICK_GROWTH_MB), "MB")
    peaks = {"engine": "engine_peak", "recording": "journal_peak", "window": "feed_peak"}
    for queue, column in peaks.items():
        most = RECORDING_ITEMS if queue == "recording" else QUEUE_ITEMS
        yield Measured(f"{name}: {queue}'s queue, peak", float(columns[column].max()), at_most(most), "items")
    yield Measured(f"{name}: events that the window missed", found["feed_dropped"], exactly(0), "events")
    for delay, column in (("packet to events", "event_ms"), ("packet to sound", "sound_ms")):
        yield Measured(f"{name}: {delay}, growth of the median", grown(columns[column]), at_most(PERIOD_MS), "ms")
    yield Measured(f"{name}: engine's share of a core", 100 * float(np.nanmean(columns["busy"])), at_most(100), "%")
    hours = found["seconds"] / 3600.0
    yield Measured(f"{name}: recording", found["file_bytes"] * 1e-6 / hours, at_most(100), "MB/h")
    ratio = found["file_bytes"] / max(found["payload_bytes"], 1)
    yield Measured(f"{name}: recording / bytes of the packets in it", ratio, at_most(2.5), "ratio")
    yield Measured(f"{name}: packets lost or changed by us", found["not_recorded"], exactly(0), "packets")
    unread = found["items"] - found["items_read"] + (not found["complete"])
    yield Measured(f"{name}: items that cannot be read back", unread, exactly(0), "items")
    again = f"{name}: first {_length(found['stretch_s'])} checked again, events not the same"
    yield Measured(again, not found["same_events"], exactly(0), "count")
    yield Measured(f"{name}: exceptions and faults", len(found["faults"]), exactly(0), "count")
    frames = f"{name}: frames painted per simulated second"
    yield Measured(frames, found["frames"] / found["seconds"], Band(1.9, None), "frames")


def growth_mb(columns: Mapping[str, npt.NDArray[np.float64]]) -> float:
    """Growth of resident memory: over a whole day after it has settled, else along the last half's line to a day.

    The line is the median of all slopes between two samples (Theil-Sen), so that a single step, as when the system
    hands out pages, does not become hundreds of megabytes. NaN where memory is not told.
    """
    t_s, memory = columns["t_s"], columns["memory_mb"]
    if t_s[-1] >= 0.99 * DAY_S:
        settled = int(np.searchsorted(t_s, SETTLED_S))
        return float(memory[-5:].mean() - memory[settled : settled + 5].mean())
    late = t_s >= t_s[-1] / 2
    i, k = np.triu_indices(int(late.sum()), 1)
    slopes = (memory[late][k] - memory[late][i]) / (t_s[late][k] - t_s[late][i])
    return float(np.median(slopes) * DAY_S) if len(slopes) else float("nan")


def grown(values: npt.NDArray[np.float64]) -> float:
    """Median of the last third less that of the first, of the samples that there are; NaN when there are none."""
    known = values[np.isfinite(values)]
    third = max(len(known) // 3, 1)
    return float(np.median(known[-third:]) - np.median(known[:third])) if len(known) else float("nan")


def _column(values: Sequence[float | None]) -> npt.NDArray[np.float64]:
    return np.array([np.nan if one is None else one for one in values], dtype=np.float64)


def _length(seconds: float) -> str:
    return f"{seconds / 3600:.3g} h" if seconds >= 3600 else f"{seconds:.0f} s"
