"""How well the windows keep up, measured in a process of its own; prints one JSON document.

``python -m imufeedback.measure.windows.frames WHAT [NUMBER]``, offscreen; WHAT as in `main`. `imufeedback validate
--set windows` and ``--set speed`` run it; a child process, because Qt can only be started once and its memory must be
nobody else's.
"""

from __future__ import annotations

import gc
import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import numpy as np
from PySide6.QtCore import QEvent
from PySide6.QtWidgets import QApplication, QWidget

from imufeedback import resources
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.measure.memory import resident_mb
from imufeedback.records import (
    Angles,
    Event,
    Finding,
    Floats,
    Hand,
    JointAngles,
    Link,
    LinkState,
    Motion,
    PelvisAngles,
    Phase,
    PhaseChanged,
    Rep,
    Side,
    StateChanged,
    Verdict,
    frozen,
)

RATE_HZ = 200.0
PACKET_S = 0.02
REP_EVERY_S = 12.0
FRAME_S = 0.033
HOUR_S = 3600.0


class StepClock:
    """Seconds that pass when they are told to."""

    now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def golfer(t_s: Floats) -> Angles:
    """Something like a golfer's angles at these times, with every trace that there is."""
    wave = np.sin(2 * np.pi * t_s / REP_EVERY_S)
    ok = np.ones((len(t_s), 3), bool)
    sd = frozen(np.full((len(t_s), 3), np.deg2rad(1.5)))

    def three(*columns: Floats) -> Floats:
        return frozen(np.deg2rad(np.column_stack(columns)))

    def joint(name: str, side: Side, *columns: Floats) -> JointAngles:
        angle = three(*columns)
        return JointAngles(name, side, t_s, angle, frozen(np.zeros_like(angle)), sd, frozen(ok, np.bool_))

    turned = three(40 * wave, 9 * wave, 20 + wave)
    pelvis = PelvisAngles(t_s, turned, frozen(np.zeros_like(turned)), sd, frozen(ok, np.bool_))
    hips = (
        joint("hip", side, 10 + 14 * wave, wave, sign * 25 * wave) for side, sign in ((Side.RIGHT, 1), (Side.LEFT, -1))
    )
    knees = (joint("knee", side, 25 + sign * 9 * wave, wave, wave) for side, sign in ((Side.RIGHT, 1), (Side.LEFT, -1)))
    return Angles(t_s, pelvis, (*hips, *knees))


def news(index: int, start_s: float) -> list[Event]:
    """What is told of one rep: phases, a stall, the rep and a finding."""
    marks = {"address_s": start_s, "top_s": start_s + 2, "impact_s": start_s + 4, "finish_s": start_s + 6}
    angles = {
        f"trail_thigh_angle_{mark}_deg": value for mark, value in (("top", 22.0), ("impact", 8.0), ("finish", -4.0))
    }
    phases = (Phase.BACKSWING, Phase.DOWNSWING, Phase.THROUGH_SWING, Phase.WAITING)
    return [
        *(PhaseChanged(start_s + 2 * k, phase) for k, phase in enumerate(phases)),
        StateChanged(start_s + 3, start_s + 2.9, Motion.STALLED, 0.2, 0.1),
        Rep(index, "swing", start_s, start_s + 6, marks, (), angles),
        Finding("trail-thigh-keeps-falling", index, start_s + 3, 9.0, 3.0, "deg", Verdict.FAULT, "It stopped falling."),
    ]


class Feeder:
    """Gives a feed its golfer, packet by packet or in large pieces."""

    def __init__(self, feed: EventFeed) -> None:
        self.feed = feed
        self.samples = 0
        self.reps = 0
        feed.push([Link("A1", 0.0, LinkState.STREAMING, "", {})])

    @property
    def now_s(self) -> float:
        return self.samples / RATE_HZ

    def give(self, seconds: float) -> None:
        count = round(seconds * RATE_HZ)
        self.feed.push([golfer((self.samples + np.arange(count)) / RATE_HZ)])
        self.samples += count
        while self.now_s > (self.reps + 1) * REP_EVERY_S:
            self.feed.push(news(self.reps, self.reps * REP_EVERY_S + 3))
            self.reps += 1


@contextmanager
def open_bay(clock: Callable[[], float] = time.monotonic) -> Iterator[tuple[QApplication, BayWindow, Feeder]]:
    """A bay window of the usual size, begun; gone afterwards."""
    app = make_application()
    window = BayWindow(
        EventFeed(Hand.RIGHT, clock=clock), on_stop=lambda: None, rule_set=resources.text("rules", "swing")
    )
    window.resize(1280, 720)
    window.show()
    window.acknowledge()
    try:
        yield app, window, Feeder(window.feed)
    finally:
        put_away(window)


def put_away(window: QWidget) -> None:
    """A window that nobody looks at any more, without asking: else it goes on being drawn."""
    window.hide()
    window.deleteLater()
    QApplication.sendPostedEvents(window, QEvent.Type.DeferredDelete)


def frames(count: int) -> dict[str, float]:
    """Processor time of whole frames (reading, updating, painting) with ten seconds of all traces on the screen."""
    with open_bay(clock := StepClock()) as (app, window, feeder):
        window._frames.stop()
        feeder.give(2 * REP_EVERY_S)
        costs = []
        for _ in range(count):
            feeder.give(0.035)
            clock.now_s += FRAME_S
            before = time.process_time()
            window._hear()
            window._frame()
            app.processEvents()
            costs.append(time.process_time() - before)
        median, p99 = np.percentile(np.array(costs[20:]) * 1e3, (50, 99))
        return {"median_ms": float(median), "p99_ms": float(p99), "rows": len(window.view.plots.shown_rows)}


def age(seconds: float) -> dict[str, float]:
    """How old the newest sample is when its picture is painted, at first and after a simulated hour."""
    with open_bay() as (app, window, feeder):
        first = _ages(app, window, feeder, seconds)
        while feeder.now_s < HOUR_S:
            feeder.give(5.0)
            if feeder.samples % 20_000 == 0:
                app.processEvents()
        app.processEvents()
        later = _ages(app, window, feeder, seconds)
        return {"first_p99_ms": first, "hour_p99_ms": later}


def _ages(app: QApplication, window: BayWindow, feeder: Feeder, seconds: float) -> float:
    ages: list[float] = []
    seen: list[float] = []
    draw, painted = window.view.draw, window.view.plots._on_painted

    def noting(snapshot: Any) -> None:
        seen[:] = [time.monotonic() - snapshot.age_s]
        draw(snapshot)

    def on_painted(cost_s: float) -> None:
        ages.extend(time.monotonic() - came for came in seen)
        if painted is not None:
            painted(cost_s)

    window.view.draw, window.view.plots._on_painted = noting, on_painted  # type: ignore[method-assign]
    thread = threading.Thread(target=_in_time, args=(feeder, seconds), daemon=True)
    thread.start()
    while thread.is_alive():
        app.processEvents()
        time.sleep(0.001)
    window.view.draw, window.view.plots._on_painted = draw, painted  # type: ignore[method-assign]
    return float(np.percentile(np.array(ages[3:]) * 1e3, 99))


def _in_time(feeder: Feeder, seconds: float) -> None:
    begin = time.monotonic()
    for k in range(round(seconds / PACKET_S)):
        time.sleep(max(0.0, begin + k * PACKET_S - time.monotonic()))
        feeder.give(PACKET_S)


def soak(minutes: float) -> dict[str, float]:
    """Simulated minutes, one frame for a second of data: memory after ten minutes and at the end, and None."""
    with open_bay(clock := StepClock()) as (app, window, feeder):
        window._frames.stop()
        begun_mb = begun_refs = 0.0
        count = round(minutes * 60)
        settled = min(600, count // 2)
        for k in range(count):
            if k == settled:
                gc.collect()
                begun_mb, begun_refs = resident_mb(), float(sys.getrefcount(None))
            feeder.give(1.0)
            clock.now_s += 1.0
            window._hear()
            window._frame()
            app.processEvents()
        gc.collect()
        refs = float(sys.getrefcount(None))
        return {
            "growth_mb": resident_mb() - begun_mb,
            "refs": refs,
            "refs_per_frame": (refs - begun_refs) / (count - settled),
            "frames": float(count - settled),
            "reps": float(feeder.reps),
        }


def main(what: str, number: float) -> dict[str, Any]:
    """One measurement."""
    if what == "frames":
        return frames(int(number))
    if what == "starved":
        from imufeedback.measure.windows.busy_machine import starved

        return starved(number)
    if what == "load":
        from imufeedback.measure.windows.load import load

        return load(number)
    if what == "blocked":
        from imufeedback.measure.windows.blocked import blocked

        return blocked()
    if what == "returning":
        from imufeedback.measure.windows.returning import returning

        return dict(returning())
    if what == "sessions":
        from imufeedback.measure.windows.many_sessions import sessions

        return dict(sessions(int(number)))
    if what == "truths":
        from imufeedback.measure.windows.truths import truths

        return truths()
    return {"age": age, "soak": soak}[what](number)


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(sys.argv[1], float(sys.argv[2]))) + "\n")
    sys.stdout.flush()
    os._exit(0)  # windows, threads and Qt are not worth an orderly end here
