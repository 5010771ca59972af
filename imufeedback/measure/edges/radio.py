"""Other people's sensors in reach: own ones connect, theirs are left alone."""

from __future__ import annotations

import statistics
from collections.abc import Iterator
from typing import Any

from imufeedback.measure import process
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly

FOREIGN = 17
STREAM_S, QUICK_STREAM_S = 6.0, 2.0
TRIALS, QUICK_TRIALS = 3, 1
MORE_S = 2.0
"""More than a search with own sensors alone takes, on a busy machine. Chosen: a coach does not notice it."""
LIMIT_S = 180.0


def child(*arguments: object) -> dict[str, Any]:
    """One measurement in a process of its own. Raises ImuFeedbackError."""
    range_ = ("-m", "imufeedback.measure.windows.at_the_range", *arguments)
    found: dict[str, Any] = process.child(
        *range_, failed="the range could not be measured", where="edges", limit_s=LIMIT_S
    )
    return found


def neighbours(context: Context) -> Iterator[Measured]:
    """3 own and 17 foreign sensors in the air, in real time."""
    seconds = QUICK_STREAM_S if context.quick else STREAM_S
    trials = range(QUICK_TRIALS if context.quick else TRIALS)
    alone = [child("range", context.seed + k, 0, seconds, context.work) for k in trials]
    full = [child("range", context.seed + k, FOREIGN, seconds, context.work) for k in trials]
    name = f"3 own and {FOREIGN} foreign sensors in the air"
    yield Measured(f"{name}: own connected, at least", min(one["own"] for one in full), exactly(3), "sensors")
    yield Measured(f"{name}: own recorded, at least", min(one["own_recorded"] for one in full), exactly(3), "sensors")
    touched = sum(one["touched"] for one in full)
    yield Measured(f"{name}: foreign ones connected, started or written to", touched, exactly(0), "sensors")
    items = sum(one["foreign_items"] for one in full)
    yield Measured(f"{name}: items of foreign ones in the recording", items, exactly(0), "items")
    asked = min(one["asked"] for one in full)
    yield Measured(f"{name}: foreign ones listed to choose from, at least", asked, exactly(FOREIGN), "sensors")
    took_s, usual_s = (statistics.median(one["searched_s"] for one in some) for some in (full, alone))
    longer = f"{name}: search and connect, longer than with own ones alone"
    yield Measured(longer, took_s - usual_s, at_most(MORE_S), "s")
    yield Measured("search and connect with own ones alone, no limit", usual_s, Band(None, None), "s")


def moved(context: Context) -> Iterator[Measured]:
    """An own sensor under a new address that does not announce itself, and a foreign one at its old address."""
    found = child("moved", context.seed)
    name = "own sensor at a new address, foreign one at the old"
    yield Measured(f"{name}: the other own ones connected", found["own"], exactly(2), "sensors")
    yield Measured(f"{name}: both asked about", found["asked"], exactly(2), "sensors")
    yield Measured(f"{name}: commands to the foreign one", found["written"], exactly(0), "commands")


STEPS = [
    SetPart("3 own and 17 foreign sensors in the air", neighbours),
    SetPart("sensors at other addresses", moved),
]
