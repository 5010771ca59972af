"""How long `imufeedback live` takes to show its window; prints one JSON document.

`main` is called in a process of its own that has imported the command line before, as the command does; nothing else is
imported before the window is painted.
"""

from __future__ import annotations

import json
import os
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from imufeedback.app.live import window_maker
from imufeedback.app.run import run_app

if TYPE_CHECKING:
    from imufeedback.app.live_window import LiveWindow


def shown(since_s: float) -> dict[str, float]:
    """From `since_s` of the monotonic clock to the first painted picture, and the processor time until then."""
    seen: list[float] = []
    make = window_maker("house", Path("."))

    def make_watched() -> LiveWindow:
        from PySide6.QtCore import QEvent, QObject, QTimer
        from PySide6.QtWidgets import QApplication

        class Watch(QObject):
            def eventFilter(self, watched: QObject, event: QEvent) -> bool:  # noqa: N802 – Qt names it
                if event.type() is QEvent.Type.Paint and not seen:
                    seen.append(time.monotonic())
                    QTimer.singleShot(0, QApplication.quit)
                return False

        window = make()
        window.watch = Watch(window)  # type: ignore[attr-defined]  # kept alive beside what it watches
        window.start.installEventFilter(window.watch)  # type: ignore[attr-defined]
        return window

    run_app(make_watched)
    return {"shown_s": seen[0] - since_s, "processor_s": time.process_time()}


def main(since_s: float) -> None:
    """Print what `shown` measured, and leave."""
    sys.stdout.write(json.dumps(shown(since_s)) + "\n")
    sys.stdout.flush()
    os._exit(0)
