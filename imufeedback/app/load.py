"""How much of a core a live session takes with its bay window: radio's thread, engine's thread, recording, drawing."""

from __future__ import annotations

import tempfile
import threading
import time
from datetime import datetime
from pathlib import Path

from PySide6.QtCore import QTimer
from PySide6.QtWidgets import QApplication

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.errors import ImuFeedbackError
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Event, Fitted
from imufeedback.report.summary import Summary
from imufeedback.session import Engine, Session, Sink
from imufeedback.validate.live_load import Load, pace, prepared

FIT_LIMIT_S = 120.0
"""The fitting movements are worked off in haste; a machine that needs longer than that cannot follow anyway."""
LOOK_MS = 20


def load(seconds: float, seed: int = 1) -> dict[str, float]:
    """Run for so many seconds at the pace of life; share of one core, and what was drawn for it.

    Raises ImuFeedbackError when the session ends early.
    """
    given = prepared(seconds, seed)
    app = make_application()
    feed = EventFeed(given.hand)
    window = BayWindow(feed, on_stop=lambda: None, rule_set=given.settings.rule_set)
    window.resize(1280, 720)
    window.show()
    window.acknowledge()
    fitted = threading.Event()

    def hear(events: list[Event]) -> None:
        if any(isinstance(one, Fitted) for one in events):
            fitted.set()

    with tempfile.TemporaryDirectory() as folder:
        journal = JournalWriter(Path(folder) / "load.mcap", title="load", started=datetime.now().astimezone())
        sinks: list[Sink] = [summary := Summary(given.hand), feed.push, hear]
        engine = Engine(lambda: Session(given.settings, begin_ns=0, journal=journal, sinks=sinks))
        engine.start()
        for item in given.early:
            engine.put(item)
        _wait(app, engine, fitted)
        found = _played(app, window, engine, given)
        engine.stop()
    window._frames.stop()
    if engine.error is not None:
        raise ImuFeedbackError(f"the session ended early: {engine.error}", where="load")
    return found | {"reps": float(len(summary.reps))}


def _wait(app: QApplication, engine: Engine, fitted: threading.Event) -> None:
    until_s = time.monotonic() + FIT_LIMIT_S
    while not fitted.is_set():
        if engine.error is not None or time.monotonic() > until_s:
            raise ImuFeedbackError(f"no fitting came ({engine.error or 'too slow'})", where="load")
        app.processEvents()
        time.sleep(0.005)


def _played(app: QApplication, window: BayWindow, engine: Engine, given: Load) -> dict[str, float]:
    """Qt's own loop while the packets come, as it runs in life."""
    radio = threading.Thread(target=pace, args=(given.live, engine.put), name="ble", daemon=True)
    look = QTimer()
    # not `quit`, which would ask the window first
    look.timeout.connect(lambda: None if radio.is_alive() else app.exit())
    drawn = window.frame_stats.count
    wall, busy = time.perf_counter(), time.process_time()
    radio.start()
    look.start(LOOK_MS)
    app.exec()
    busy_s, wall_s = time.process_time() - busy, time.perf_counter() - wall
    look.stop()
    return {
        "share": busy_s / wall_s,
        "seconds": wall_s,
        "frames_per_s": (window.frame_stats.count - drawn) / wall_s,
        "frame_median_ms": window.frame_stats.median_ms,
        "waiting": float(engine.fill.waiting),
    }
