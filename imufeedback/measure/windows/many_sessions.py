"""Session after session with changing players in one window, without a restart: what is left behind by each."""

from __future__ import annotations

import datetime
import gc
import os
import tempfile
import threading
from pathlib import Path

from PySide6.QtCore import QObject, QTimer
from PySide6.QtWidgets import QApplication

from imufeedback import people
from imufeedback.app.live import window_maker
from imufeedback.app.live_window import LiveWindow
from imufeedback.app.run import make_application
from imufeedback.live.golfer import DemoPlan, VirtualGolfer
from imufeedback.measure.memory import resident_mb
from imufeedback.measure.windows.blocked import until
from imufeedback.people import Person
from imufeedback.records import Hand
from imufeedback.synth.player import Pace

PLAYERS = 5
LIMIT_S = 120.0


def sessions(count: int) -> dict[str, float]:
    """Growth over the second half of the sessions, when everything is loaded that will be."""
    with tempfile.TemporaryDirectory(prefix="imufeedback-sessions-") as name:
        folder = Path(name)
        os.environ["IMUFEEDBACK_HOME"] = name
        everybody = people.load(folder / "players")
        for number in range(PLAYERS):
            everybody.save(Person(f"Player {number}", Hand.RIGHT, cautions_seen=datetime.date.today()))
        app = make_application()
        window = window_maker("house", folder)()
        window.resize(1280, 720)
        window.show()
        before = left = _left(app)
        for number in range(count):
            _one(app, window, number)
            left = _left(app)
            if number + 1 == count // 2:
                before = left
        window.close()
    since = count - count // 2
    grown = {what: value - before[what] for what, value in left.items()}
    return {"sessions": count, **{f"{what}_grown": value for what, value in grown.items()},
            "mb_per_session": grown["mb"] / since}  # fmt: skip


def _one(app: QApplication, window: LiveWindow, number: int) -> None:
    """One player comes, swings once as quickly as the computer can, and makes room for the next."""
    start = window.start
    start.player.choose.list.setCurrentRow(number % PLAYERS)
    start.player.take()
    golfer = VirtualGolfer(DemoPlan(Hand.RIGHT, Pace.FULL, reps=1, seed=number, realtime=False))
    assert golfer.settings is not None  # worked out before it begins
    start.ready.virtual, start.ready.links = True, {}
    window._golfer = golfer
    window._begin()
    until(app, lambda: window.bay is not None and bool(window.bay.view.book.counted), LIMIT_S)
    bay = window.bay
    assert bay is not None
    until(app, lambda: bay.feed.finished, LIMIT_S)
    bay.stop_unasked()
    until(app, lambda: window.end is not None, LIMIT_S)
    assert window.end is not None
    window.end.next.click()
    until(app, lambda: window.end is None, LIMIT_S)


def _left(app: QApplication) -> dict[str, float]:
    """What there is now, when all that can go has gone."""
    for _ in range(3):
        app.sendPostedEvents(None, 52)  # deferred deletes
        app.processEvents()
        gc.collect()
    objects = [one for one in gc.get_objects() if isinstance(one, QObject)]
    return {
        "mb": resident_mb(),
        "threads": float(threading.active_count()),
        "timers": float(sum(isinstance(one, QTimer) and one.isActive() for one in objects)),
        "objects": float(len(objects)),
        "windows": float(len(app.topLevelWidgets())),
    }
