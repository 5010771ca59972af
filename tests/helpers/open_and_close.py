"""A child process that opens and closes bay windows, and prints by how many MB it has grown.

In a process of its own, so that it measures windows and not what other tests left behind.
"""

from __future__ import annotations

import gc
import sys

from bay_events import angles, grid, rep
from PySide6.QtWidgets import QApplication

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.measure.memory import resident_mb
from imufeedback.records import Hand

WARM = 5


def once() -> None:
    window = BayWindow(EventFeed(Hand.RIGHT), on_stop=lambda: None)
    window.show()
    window.acknowledge()
    window.feed.push([angles(grid(60, 64)), rep(0)])
    window._hear()
    window._frame()
    QApplication.processEvents()
    window.stop_now()
    window._gone = True
    window.close()
    window.second.close()
    window.deleteLater()
    window.second.deleteLater()
    QApplication.processEvents()
    QApplication.sendPostedEvents(None, 52)  # QEvent.DeferredDelete
    gc.collect()


if __name__ == "__main__":
    application = make_application()
    for _ in range(WARM):
        once()
    before_mb = resident_mb()
    for _ in range(int(sys.argv[1])):
        once()
    sys.stdout.write(f"{resident_mb() - before_mb}\n")
