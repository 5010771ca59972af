"""The measurement of `imufeedback latency` while the bay window draws as fast as a screen can show."""

from __future__ import annotations

import os
import threading
import time
from typing import Any

from imufeedback.app.display import require_display
from imufeedback.errors import NoDisplay
from imufeedback.measure.latency.measure import DelayTrace, Measurement
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Hand

FRAME_MS = 16
"""About 60 a second."""
SIZE = (1280, 720)


def measure(
    seconds: float, seed: int, *, journal: JournalWriter | None, record: str | None
) -> tuple[DelayTrace, dict[str, Any]]:
    """One run; also the number of frames a second that were really drawn. Without a screen Qt draws into memory."""
    try:
        require_display()
    except NoDisplay:
        os.environ["QT_QPA_PLATFORM"] = "offscreen"
    from PySide6.QtCore import Qt, QTimer

    from imufeedback.app.bay import BayWindow
    from imufeedback.app.feed import EventFeed
    from imufeedback.app.run import make_application

    app = make_application()
    feed = EventFeed(Hand.RIGHT)
    over = threading.Event()
    run = Measurement(seconds, seed, journal=journal, sinks=[feed.push], record=record, on_end=over.set)
    window = BayWindow(feed, on_stop=lambda: None)
    window.resize(*SIZE)
    window.show()
    window.acknowledge()
    timer = QTimer()
    timer.setTimerType(Qt.TimerType.PreciseTimer)
    timer.timeout.connect(lambda: app.quit() if over.is_set() else window.draw_now())
    run.start()
    begun, before = time.monotonic(), window.frame_stats.count
    timer.start(FRAME_MS)
    app.exec()
    rate_hz = (window.frame_stats.count - before) / (time.monotonic() - begun)
    timer.stop()
    try:
        return run.stop(), {"frames_per_second": rate_hz}
    finally:
        window.stop_now()
        window.hide()
