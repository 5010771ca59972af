"""Other people's sensors in reach: own ones connect, theirs are left alone."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imufeedback import resources
from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.roster import Known
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.ble.virtual.bench import PLACES, QUIRKS, payloads
from imufeedback.ble.virtual.neighbours import strangers
from imufeedback.ble.virtual.radio import address_of
from imufeedback.packets import Layout, parse_layout
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Event, LinkNote, RawPacket
from imufeedback.session import Engine, Session
from imufeedback.settings import Player, Sensor, Settings
from imufeedback.station import Station
from imufeedback.validate.checks import Band, Context, Measured, Step, at_most, exactly

FOREIGN = 17
STREAM_S, QUICK_STREAM_S = 6.0, 2.0
TRIALS, QUICK_TRIALS = 3, 1
WAIT_S = 60.0
MORE_S = 2.0
"""More than a search with own sensors alone takes, on a busy machine. Chosen: a coach does not notice it."""


@dataclass(frozen=True, slots=True)
class Range:
    """What came of one search and the session after it."""

    own: int
    """Own sensors that were connected."""
    searched_s: float
    asked: int
    """Sensors that were left for the person to choose from."""
    touched: int
    """Foreign sensors that were connected, written to, or started."""
    own_recorded: int
    foreign_items: int
    """Items of foreign sensors in the recording."""


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


def known(sensors: Sequence[VirtualSensor], numbers: Sequence[int]) -> list[Known]:
    """The list of sensors of who owns these; `numbers` are their places in the air. Only the last has an address that
    was seen before."""
    addresses = ["", "", address_of(numbers[-1])]
    return [
        Known(one.serial, role, address=address) for one, role, address in zip(sensors, PLACES, addresses, strict=True)
    ]


class Air:
    """A station among these sensors, in real time."""

    def __init__(self, layout: Layout, sensors: Sequence[VirtualSensor], own: Sequence[Known]) -> None:
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

    def record(self, layout: Layout, own: Sequence[Known], path: Path, seconds: float) -> Path:
        """A session of the own sensors; where it was recorded."""
        settings = Settings(
            sensors=tuple(Sensor(one.serial, one.role, layout.name) for one in own if one.role is not None),
            layouts={layout.name: resources.text("layouts", layout.name)},
            rule_set=resources.text("rules", "swing"),
            player=Player(),
            grid_hz=layout.rate_hz,
        )
        journal = JournalWriter(path)
        begin_ns = self.station.clock.now_ns()
        engine = Engine(lambda: Session(settings, begin_ns=begin_ns, journal=journal))
        engine.start()
        self.station.stream(engine.put, [one.serial for one in own])
        time.sleep(seconds)
        self.close()
        engine.stop()
        return journal.path


def at_the_range(layout: Layout, seed: int, foreign: int, path: Path, seconds: float) -> Range:
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
    return Range(
        connected,
        searched_s,
        asked,
        sum(bool(one.connections or one.commands or one.blinks or one.delivered) for one in others),
        len({one.sensor for one in items if isinstance(one, RawPacket)} & serials),
        sum(one.sensor not in serials for one in items),
    )


def neighbours(context: Context) -> Iterator[Measured]:
    """3 own and 17 foreign sensors in the air."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    seconds = QUICK_STREAM_S if context.quick else STREAM_S
    trials = range(QUICK_TRIALS if context.quick else TRIALS)
    alone = [at_the_range(layout, context.seed + k, 0, context.work / f"alone-{k}.mcap", seconds) for k in trials]
    full = [at_the_range(layout, context.seed + k, FOREIGN, context.work / f"range-{k}.mcap", seconds) for k in trials]
    name = f"3 own and {FOREIGN} foreign sensors in the air"
    yield Measured(f"{name}: own connected, at least", min(one.own for one in full), exactly(3), "sensors")
    yield Measured(f"{name}: own recorded, at least", min(one.own_recorded for one in full), exactly(3), "sensors")
    touched = sum(one.touched for one in full)
    yield Measured(f"{name}: foreign ones connected, started or written to", touched, exactly(0), "sensors")
    items = sum(one.foreign_items for one in full)
    yield Measured(f"{name}: items of foreign ones in the recording", items, exactly(0), "items")
    asked = min(one.asked for one in full)
    yield Measured(f"{name}: foreign ones listed to choose from, at least", asked, exactly(FOREIGN), "sensors")
    more_s = float(np.median([one.searched_s for one in full]) - np.median([one.searched_s for one in alone]))
    yield Measured(f"{name}: search and connect, longer than with own ones alone", more_s, at_most(MORE_S), "s")
    took_s = float(np.median([one.searched_s for one in alone]))
    yield Measured("search and connect with own ones alone, no limit", took_s, Band(None, None), "s")


def moved(context: Context) -> Iterator[Measured]:
    """An own sensor under another address that does not announce itself, and a foreign one at its old address."""
    layout = parse_layout(resources.text("layouts", "house"), "house")
    own, others = own_sensors(layout, context.seed), strangers(layout, 4, context.seed)
    silent = next(one for one in others if not one.announces)
    sensors = [*own[:2], silent, own[2]]
    air = Air(layout, sensors, known(own, [0, 1, 2]))  # address 2 was that of the third, and is a foreign one's today
    try:
        air.search_s()
        connected, asked = sum(one.connected for one in own), len(air.station.others)
    finally:
        air.close()
    name = "own sensor at a new address, foreign one at the old"
    yield Measured(f"{name}: the other own ones connected", connected, exactly(2), "sensors")
    yield Measured(f"{name}: both asked about", asked, exactly(2), "sensors")
    written = len(silent.commands) + silent.blinks + silent.delivered
    yield Measured(f"{name}: commands to the foreign one", written, exactly(0), "commands")


STEPS = [
    Step("3 own and 17 foreign sensors in the air", neighbours),
    Step("sensors at other addresses", moved),
]
