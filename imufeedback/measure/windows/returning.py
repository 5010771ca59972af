"""A returning player with known sensors: from the launch to the first judged rep, on the virtual radio, by one key."""

from __future__ import annotations

import asyncio
import datetime
import os
import tempfile
import time
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication

from imufeedback import people, resources
from imufeedback.app import practice_choices
from imufeedback.app.live_window import LiveWindow
from imufeedback.app.run import make_application
from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.roster import KnownSensor
from imufeedback.ble.virtual.radio import VirtualRadio
from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.live.station import Station
from imufeedback.measure.windows.blocked import until
from imufeedback.packets import parse_layout
from imufeedback.people import Person
from imufeedback.records import Hand, Segment
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import sensor_streams, serial_of

LIMIT_S = 120.0
REPS = 2


class Room:
    """Three sensors on a player who stands ready, does the calibration movements and swings, once they send."""

    def __init__(self) -> None:
        self.layout = parse_layout(resources.text("layouts", "house"), "house")
        self._script = make_script(pace=Pace.FULL, reps=REPS, seed=2)
        streams = sensor_streams(self._script, self.layout, WORN)
        self._sensors = [
            VirtualSensor(f"virtual {one.segment}", one.serial, iter(one), self.layout, place=str(one.segment))
            for one in streams
        ]
        self.known = [KnownSensor(serial_of(segment), segment) for segment in WORN]
        self.sends = False
        """The player begins; set from another thread."""
        self._playing: asyncio.Task[None] | None = None

    def station(self, *hearers: Any) -> Station:
        return Station(self.layout, *hearers, known=lambda: self.known, make_backends=self._open)

    async def _open(self) -> Backends:
        air = VirtualRadio(self._sensors, MonotonicClock())
        await air.open()
        self._playing = asyncio.create_task(self._play(air))
        return air.backends

    async def _play(self, air: VirtualRadio) -> None:
        while not self.sends:
            await asyncio.sleep(0.01)
        air.begin()
        await air.play(round((self._script.duration_s + 1.0) * 1e9), realtime=True)

    def role_of(self, sensor: str) -> Segment | None:
        return next((one.role for one in self.known if one.serial == sensor), None)


def returning() -> dict[str, float]:
    """Seconds from making the window to the first judged rep, and the keys that it took."""
    with tempfile.TemporaryDirectory(prefix="imufeedback-returning-") as name:
        folder = Path(name)
        os.environ["IMUFEEDBACK_HOME"] = name
        everybody = people.load(folder / "players")
        today = datetime.date.today()
        everybody.save(Person("Robin", Hand.RIGHT, cautions_seen=today, last_used=today, drill="rules/swing"))
        room, app = Room(), make_application()
        began_s = time.monotonic()
        window = LiveWindow(
            everybody,
            practice_choices.available(),
            room.layout,
            room.station,
            folder,
            role_of=room.role_of,
            known_places=lambda: {one.role for one in room.known if one.role is not None},
        )
        window.resize(1280, 720)
        window.show()
        window.activateWindow()
        try:
            return {"keys": _one_key(app), **_until_judged(app, window, room, began_s)}
        finally:
            window.stop_unasked()
            until(app, lambda: not window.isVisible(), LIMIT_S)


def _one_key(app: QApplication) -> float:
    until(app, lambda: app.focusWidget() is not None, LIMIT_S)
    widget = app.focusWidget()
    assert widget is not None
    QTest.keyClick(widget, Qt.Key.Key_Return)
    return 1.0


def _until_judged(app: QApplication, window: LiveWindow, room: Room, began_s: float) -> dict[str, float]:
    until(app, lambda: window.practice is not None, LIMIT_S)
    connected_s = time.monotonic() - began_s
    room.sends = True
    until(app, lambda: window.start.ready.fit_level is not None, LIMIT_S)
    fitted_s = time.monotonic() - began_s
    until(app, lambda: window.bay is not None and bool(window.bay.view.book.counted), LIMIT_S)
    return {"connected_s": connected_s, "fitted_s": fitted_s, "judged_s": time.monotonic() - began_s}
