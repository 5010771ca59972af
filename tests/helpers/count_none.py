"""A child process that paints bay windows, and prints by how much the references to None have changed.

In a process of its own: the collector meets what this window leaves, and nothing of other tests.
"""

from __future__ import annotations

import gc
import sys

from bay_events import HandClock
from PySide6.QtWidgets import QApplication

from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.run import make_application
from imufeedback.measure.windows.frames import Feeder
from imufeedback.records import Hand


def some(window: BayWindow, feeder: Feeder, clock: HandClock, count: int) -> None:
    for _ in range(count):
        feeder.give(0.5)
        clock.now_s += 0.5
        window._hear()
        window._frame()
        QApplication.processEvents()


if __name__ == "__main__":
    application = make_application()
    hand_clock = HandClock()
    bay = BayWindow(EventFeed(Hand.RIGHT, clock=hand_clock), on_stop=lambda: None)
    bay.show()
    bay.acknowledge()
    bay._frames.stop()
    feed = Feeder(bay.feed)
    some(bay, feed, hand_clock, 60)
    gc.collect()
    before = sys.getrefcount(None)
    some(bay, feed, hand_clock, 200)
    gc.collect()
    sys.stdout.write(f"{sys.getrefcount(None) - before}\n")
    bay.stop_now()
    bay._gone = True
    bay.close()
