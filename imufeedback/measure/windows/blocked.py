"""For how long the window's thread is away: from the first picture over a whole session to the summary and the report.

A timer of the window's own thread notes how late it is called; when it is late a second thread notes what holds it.
"""

from __future__ import annotations

import datetime
import os
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QApplication, QDialog

from imufeedback import people
from imufeedback.app.live import window_maker
from imufeedback.app.run import make_application
from imufeedback.people import Person
from imufeedback.records import Hand

TICK_MS = 5
LATE_S = 0.1


@dataclass
class Watch:
    """What the timer saw."""

    longest_s: float = 0.0
    busy_s: float = 0.0
    """Longest processor time of the window's thread between two calls: what other programs on the machine take is not
    in it."""
    late: int = 0
    where: tuple[str, str] = ("", "")
    """At what it was longest busy, and in which lines."""
    _seen_s: float = field(default_factory=time.monotonic)
    _busy_s: float = field(default_factory=time.thread_time)
    _at: str = ""
    _caught: str = ""

    def at(self, what: str) -> None:
        """What is done from now on, for whoever reads where it was late."""
        self._at = what

    def tick(self) -> None:
        now_s, busy_s = time.monotonic(), time.thread_time()
        away_s, self._seen_s = now_s - self._seen_s, now_s
        before_s, self._busy_s = self._busy_s, busy_s
        if busy_s - before_s > self.busy_s:
            self.busy_s, self.where = busy_s - before_s, (self._at, self._caught)
        self.longest_s = max(self.longest_s, away_s)
        self.late += away_s > LATE_S
        self._caught = ""

    def look(self, thread: int) -> None:
        """From another thread: where the window's thread is, when it is late already."""
        if time.monotonic() - self._seen_s > LATE_S / 2 and not self._caught:
            frame = sys._current_frames().get(thread)
            self._caught = "" if frame is None else _place(frame)


def _place(frame: FrameType) -> str:
    ours = [one for one in traceback.extract_stack(frame) if "imufeedback" in one.filename]
    return " < ".join(f"{Path(one.filename).stem}:{one.lineno} {one.name}" for one in reversed(ours[-4:]))


@contextmanager
def watched() -> Iterator[Watch]:
    """Watches the thread that enters, which must run Qt's loop."""
    watch, timer, going = Watch(), QTimer(), [True]
    timer.setTimerType(Qt.TimerType.PreciseTimer)
    timer.timeout.connect(watch.tick)
    timer.start(TICK_MS)
    me = threading.get_ident()

    def run() -> None:
        while going:
            watch.look(me)
            time.sleep(0.01)

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    try:
        yield watch
    finally:
        going.clear()
        thread.join()
        timer.stop()


def until(app: QApplication, true: Callable[[], object], limit_s: float = 120.0) -> None:
    """Qt's loop until something is so. Raises TimeoutError."""
    end_s = time.monotonic() + limit_s
    while not true():
        if time.monotonic() > end_s:
            raise TimeoutError
        app.processEvents()
        time.sleep(0.001)


def blocked() -> dict[str, float | str]:
    """One session of the virtual golfer, as a person does it who tries the program."""
    with tempfile.TemporaryDirectory(prefix="imufeedback-blocked-") as folder:
        os.environ["IMUFEEDBACK_HOME"] = folder
        _save_player(Path(folder))
        app = make_application()
        window = window_maker("house", Path(folder))()
        window.resize(1280, 720)
        window.show()
        app.processEvents()
        with watched() as watch:
            watch.at("first screen")
            until(app, _later(0.2))
            start = window.start
            start.go_on()
            watch.at("virtual golfer")
            start.sensors.try_it.click()
            until(app, lambda: window._golfer is not None)
            watch.at("begin")
            start.go_on()
            until(app, lambda: window.bay is not None)
            bay = window.bay
            assert bay is not None
            watch.at("session")
            until(app, lambda: len(bay.view.book.counted) >= 2)
            watch.at("range view, limits, keys")
            bay.range_action.trigger()
            until(app, _later(0.5))
            bay.range_action.trigger()
            for name in ("L", "F1"):
                next(one for one in bay.actions() if one.shortcut().toString() == name).trigger()
                until(app, _later(0.5))
                for dialog in bay.findChildren(QDialog):
                    dialog.close()
            watch.at("end")
            bay.stop_unasked()
            until(app, lambda: window.end is not None)
            watch.at("report")
            assert window.end is not None
            end = window.end
            end.write_report()
            until(app, lambda: end.report.isEnabled(), 240.0)
        window.close()
        until(app, lambda: not window.isVisible())
    at, lines = watch.where
    return {"longest_s": watch.longest_s, "busy_s": watch.busy_s, "late": watch.late, "at": at, "in": lines}


def _later(seconds: float) -> Callable[[], bool]:
    end_s = time.monotonic() + seconds
    return lambda: time.monotonic() > end_s


def _save_player(folder: Path) -> None:
    people.load(folder / "players").save(
        Person("Robin", Hand.RIGHT, cautions_seen=datetime.date.today(), drill="rules/swing")
    )
