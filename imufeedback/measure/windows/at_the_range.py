"""Three own sensors among other people's, on the virtual radio, through the station and a session into a recording.

``python -m imufeedback.measure.windows.at_the_range range SEED FOREIGN SECONDS FOLDER`` and ``… moved SEED`` tell what
came of it as JSON: the child process behind `measure.edges.radio`. No window is drawn.
"""

from __future__ import annotations

import asyncio
import json
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback import resources
from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.roster import KnownSensor
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.ble.virtual.bench import PLACES, QUIRKS, payloads
from imufeedback.ble.virtual.neighbours import strangers
from imufeedback.ble.virtual.radio import address_of
from imufeedback.live.practice import Practice
from imufeedback.live.station import Station
from imufeedback.live.station_source import WornSensors
from imufeedback.packets import Layout, parse_layout
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Event, LinkNote, RawPacket
from imufeedback.settings import Player

WAIT_S = 60.0
STOP_S = 10.0


def own_sensors(layout: Layout, seed: int) -> list[VirtualSensor]:
    """Three that are told by a short serial number, by the end of a long one, and by their address alone."""
    rng = np.random.default_rng([seed, 3])
    serials = [f"{rng.integers(16**6):06x}", f"OWN-{rng.integers(10**16):016d}", f"Q{rng.integers(10**4):04d}"]
    return [
        VirtualSensor(
            "IMU",
            serial,
            payloads(layout, k, QUIRKS[k], WAIT_S),
            layout,
            place=str(PLACES[k]),
            announces=k < 2,
            signal_dbm=int(rng.integers(-90, -60)),
        )
        for k, serial in enumerate(serials)
    ]


def known(sensors: Sequence[VirtualSensor], numbers: Sequence[int]) -> list[KnownSensor]:
    """The list of sensors of who owns these; `numbers` are their places in the air. Only the last has an address that
    was seen before."""
    addresses = ["", "", address_of(numbers[-1])]
    return [
        KnownSensor(one.serial, role, address=address)
        for one, role, address in zip(sensors, PLACES, addresses, strict=True)
    ]


class Air:
    """A station among these sensors, in real time."""

    def __init__(self, layout: Layout, sensors: Sequence[VirtualSensor], own: Sequence[KnownSensor]) -> None:
        self._sensors = sensors
        self._searched = threading.Event()
        self._trouble: str | None = None
        self._playing: asyncio.Task[None] | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self.told: list[Event] = []
        self.station = Station(
            layout, self.told.extend, self._on_searched, known=lambda: own, make_backends=self._open, search_s=8.0
        )

    async def _open(self) -> Backends:
        air = VirtualRadio(self._sensors, MonotonicClock())
        await air.open()
        self._loop = asyncio.get_running_loop()
        self._playing = asyncio.create_task(air.play(round(WAIT_S * 1e9), realtime=True))
        return air.backends

    def close(self) -> None:
        """May be called again."""
        if self._loop is not None and self._playing is not None and not self._loop.is_closed():
            self._loop.call_soon_threadsafe(self._playing.cancel)
        self.station.close()

    def _on_searched(self, trouble: str | None) -> None:
        self._trouble = trouble
        self._searched.set()

    def search_s(self) -> float:
        """How long a search took. Raises RuntimeError when it failed."""
        begun = time.perf_counter()
        self.station.search()
        if not self._searched.wait(WAIT_S) or self._trouble is not None:
            raise RuntimeError(f"the search failed: {self._trouble or 'no end'}")
        return time.perf_counter() - begun

    def record(self, layout: Layout, own: Sequence[KnownSensor], path: Path, seconds: float) -> Path:
        """A session of the own sensors; where it was recorded."""
        roles = {one.serial: one.role for one in own if one.role is not None}
        journal = JournalWriter(path)
        practice = Practice(WornSensors(self.station, roles, layout, Player()), journal, open_sound=None)
        practice.start()
        time.sleep(seconds)
        self.close()
        practice.stop(STOP_S)
        return journal.path


def at_the_range(layout: Layout, seed: int, foreign: int, path: Path, seconds: float) -> dict[str, Any]:
    """Three own sensors and so many of others, in a mixed order; search, stream, record."""
    own, others = own_sensors(layout, seed), strangers(layout, foreign, seed)
    sensors = [own[0], *others[: foreign // 2], own[1], *others[foreign // 2 :], own[2]]
    mine = known(own, [sensors.index(one) for one in own])
    air = Air(layout, sensors, mine)
    try:
        searched_s = air.search_s()
        connected = sum(one.connected for one in own)
        asked = len(air.station.others)
        recording = air.record(layout, mine, path, seconds)
    finally:
        air.close()
    serials = {one.serial for one in mine}
    items = [one for one in read_items(recording) if isinstance(one, RawPacket | LinkNote)]
    return {
        "own": connected,
        "searched_s": searched_s,
        "asked": asked,
        "touched": sum(bool(one.connections or one.commands or one.blinks or one.delivered) for one in others),
        "own_recorded": len({one.sensor for one in items if isinstance(one, RawPacket)} & serials),
        "foreign_items": sum(one.sensor not in serials for one in items),
    }


def moved(layout: Layout, seed: int) -> dict[str, Any]:
    """An own sensor under a new address that does not announce itself, and a foreign one at its old address."""
    own, others = own_sensors(layout, seed), strangers(layout, 4, seed)
    silent = next(one for one in others if not one.announces)
    sensors = [*own[:2], silent, own[2]]
    air = Air(layout, sensors, known(own, [0, 1, 2]))
    try:
        air.search_s()
        connected, asked = sum(one.connected for one in own), len(air.station.others)
    finally:
        air.close()
    return {"own": connected, "asked": asked, "written": len(silent.commands) + silent.blinks + silent.delivered}


def main(arguments: Sequence[str]) -> None:
    what, seed, *more = arguments
    layout = parse_layout(resources.text("layouts", "house"), "house")
    if what == "moved":
        found = moved(layout, int(seed))
    else:
        foreign, seconds, folder = more
        path = Path(folder) / f"range-{seed}-{foreign}.mcap"
        found = at_the_range(layout, int(seed), int(foreign), path, float(seconds))
    sys.stdout.write(json.dumps(found) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
