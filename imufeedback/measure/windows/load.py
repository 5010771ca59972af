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
from imufeedback.live.practice import Practice
from imufeedback.live.session import Sink
from imufeedback.measure.live_load import Load
from imufeedback.measure.windows.frames import put_away
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import RawPacket
from imufeedback.report.summary import Summary

LOOK_MS = 20
STOP_S = 10.0


def load(seconds: float, seed: int = 1) -> dict[str, float]:
    """Run for so many seconds at the pace of life; share of one core, and what was drawn for it.

    Raises ImuFeedbackError when the session ends early.
    """
    given = Load(seconds, seed)
    app = make_application()
    feed = EventFeed(given.hand)
    window = BayWindow(feed, on_stop=lambda: None, rule_set=given.settings.rule_set)
    window.resize(1280, 720)
    window.show()
    window.acknowledge()
    over = threading.Event()
    summary = Summary(given.hand)
    with tempfile.TemporaryDirectory() as folder:
        journal = JournalWriter(Path(folder) / "load.mcap", title="load", started=datetime.now().astimezone())
        sinks: list[Sink] = [summary, feed.push, given.hear]
        practice = Practice(given.source, journal, sinks, over.set, open_sound=None)
        practice.start()
        try:
            given.wait_for_fit(practice, app.processEvents)
            found = _played(app, window, practice, given.go, over)
        finally:
            practice.stop(STOP_S)
            put_away(window)
        if practice.error is not None:
            raise ImuFeedbackError(f"the session ended early: {practice.error}", where="load")
        recorded = sum(isinstance(item, RawPacket) for item in read_items(journal.path))
    return found | {
        "reps": float(len(summary.reps)),
        "packets": float(given.packets),
        "packets_recorded": float(recorded),
    }


def _played(
    app: QApplication, window: BayWindow, practice: Practice, go: threading.Event, over: threading.Event
) -> dict[str, float]:
    """Qt's own loop while the packets come, as it runs in life."""
    look = QTimer()
    most_waiting = 0

    def see() -> None:
        nonlocal most_waiting
        most_waiting = max(most_waiting, practice.fill.waiting)
        if over.is_set():
            app.exit()  # not `quit`, which would ask the window first

    look.timeout.connect(see)
    drawn = window.frame_stats.count
    wall, busy = time.perf_counter(), time.process_time()
    go.set()
    look.start(LOOK_MS)
    app.exec()
    busy_s, wall_s = time.process_time() - busy, time.perf_counter() - wall
    look.stop()
    return {
        "share": busy_s / wall_s,
        "seconds": wall_s,
        "frames_per_s": (window.frame_stats.count - drawn) / wall_s,
        "frame_median_ms": window.frame_stats.median_ms,
        "waiting": float(most_waiting),
    }
