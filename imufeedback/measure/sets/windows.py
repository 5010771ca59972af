"""Windows that keep up: time of a frame, age of the picture, start, memory, and a starved machine."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

from imufeedback.measure import process
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly

FRAMES_PER_S = 30
FOUR_HOURS_S = 4 * 3600
LIMIT_S = 1800.0


def first_picture() -> dict[str, Any]:
    """The start of `imufeedback live`, with the imports of the command line before it."""
    code = "import imufeedback.cli; from imufeedback.measure.windows.start_time import main; main({})"
    return _measured("start", "-c", code.format(repr(time.monotonic())))


def child(what: str, number: float) -> dict[str, Any]:
    """One measurement in a process of its own, without a screen. Raises ImuFeedbackError, LeftOut without Qt."""
    return _measured(what, "-m", "imufeedback.measure.windows.frames", what, repr(number))


def _measured(what: str, *arguments: str) -> dict[str, Any]:
    failed = f"the measurement {what} failed"
    found: dict[str, Any] = process.child(*arguments, failed=failed, where="windows", limit_s=LIMIT_S)
    return found


def _row(context: Context, what: str, found: dict[str, Any]) -> None:
    context.rows.append({"set": "windows", "trial": what, **found})


def frames(context: Context) -> Iterator[Measured]:
    """Live body, ten seconds of all traces with bands, angle against turn, reps; processor time of whole frames."""
    found = child("frames", 150 if context.quick else 600)
    _row(context, "frames", found)
    yield Measured("frame of the bay view, median (processor time)", found["median_ms"], at_most(12), "ms")
    yield Measured("frame of the bay view, 99th percentile (processor time)", found["p99_ms"], at_most(25), "ms")


def age(context: Context) -> Iterator[Measured]:
    """Samples come at the pace of life from another thread; each picture is compared with its newest sample."""
    found = child("age", 4.0 if context.quick else 20.0)
    _row(context, "age", found)
    yield Measured("picture behind the data, 99th percentile", found["first_p99_ms"], at_most(100), "ms")
    yield Measured("the same after a simulated hour", found["hour_p99_ms"], at_most(100), "ms")


def start(context: Context) -> Iterator[Measured]:
    """From starting the process to the first picture; the best of some, because other programs run too."""
    tries = [first_picture() for _ in range(2 if context.quick else 5)]
    best = min(tries, key=lambda one: one["shown_s"])
    _row(context, "start", best)
    yield Measured("window shown after the start (best of some)", best["shown_s"], at_most(2.5), "s")


def soak(context: Context) -> Iterator[Measured]:
    """Four hours of data (quick: forty minutes), one frame for every second of it."""
    found = child("soak", 40.0 if context.quick else 240.0)
    _row(context, "soak", found)
    yield Measured("memory growth after the first ten minutes", found["growth_mb"], at_most(20), "MB")
    left = found["refs"] + min(found["refs_per_frame"], 0.0) * FRAMES_PER_S * FOUR_HOURS_S
    check = "references to None left after four hours of frames, projected"
    yield Measured(check, left, Band(1, None), "count")


def starved(context: Context) -> Iterator[Measured]:
    """A stalled swing at the pace of life with a window, while another program keeps a core busy."""
    found = child("starved", 1)
    _row(context, "starved", found)
    yield Measured("one core busy: packets that did not arrive", found["packets_missing"], exactly(0), "count")
    yield Measured("one core busy: cues that did not sound in time", found["cues_missing"], exactly(0), "count")
    yield Measured("one core busy: cues there were", found["cues"], Band(1, None), "count")


def truths(context: Context) -> Iterator[Measured]:
    """States are provoked one by one; the headline must name each within a second, with what to do."""
    found = child("truths", 1)
    _row(context, "truths", found)
    name = f"provoked states that the headline names within 1 s with what to do, of {found['truths']:.0f}"
    yield Measured(name, found["named"], exactly(found["truths"]), "count")


def blocked(context: Context) -> Iterator[Measured]:
    """A session of the virtual golfer from the first picture to the report. Processor time of the window's thread, so
    that other programs on the machine do not count; how long it was away by the clock is in the row."""
    found = child("blocked", 1)
    _row(context, "blocked", found)
    check = "window's thread, longest at one thing from first picture to report (processor time)"
    yield Measured(check, 1e3 * found["busy_s"], at_most(100), "ms")


def returning(context: Context) -> Iterator[Measured]:
    """Known sensors, virtual radio, calibration movements included; nothing is pressed but Enter."""
    found = child("returning", 1)
    _row(context, "returning", found)
    yield Measured("returning player: from the launch to the first judged rep", found["judged_s"], at_most(60), "s")
    yield Measured("returning player: keys pressed until then", found["keys"], at_most(1), "count")


def many(context: Context) -> Iterator[Measured]:
    """Twenty sessions (quick: eight) of five players in one window, each with its recording; the second half counts."""
    found = child("sessions", 8 if context.quick else 20)
    _row(context, "sessions", found)
    name = f"{found['sessions']:.0f} sessions of five players without a restart: "
    yield Measured(f"{name}memory a session", found["mb_per_session"], at_most(2), "MB")
    for what in ("threads", "timers", "objects", "windows"):
        yield Measured(f"{name}{what} left", found[f"{what}_grown"], at_most(0), "count")


STEPS = (
    SetPart("frame time of the bay view", frames),
    SetPart("age of the picture", age),
    SetPart("start of the application", start),
    SetPart("hours of running", soak),
    SetPart("starved machine", starved),
    SetPart("truths of the headline", truths),
    SetPart("window's thread", blocked),
    SetPart("returning player", returning),
    SetPart("many sessions", many),
)
