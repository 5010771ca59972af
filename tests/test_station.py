"""Sensors before a session and into it, on the virtual radio; and a practice on them that ends in a whole recording."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from imufeedback import resources
from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.virtual import VirtualRadio
from imufeedback.ble.virtual.bench import NAMES, PLACES, sensors
from imufeedback.packets import Layout, parse_layout
from imufeedback.people import Person
from imufeedback.practice import SensorPractice, new_recording
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Event, Link, LinkState, RawPacket
from imufeedback.station import Station


@pytest.fixture
def layout() -> Layout:
    return parse_layout(resources.text("layouts", "house"), "house")


class Room:
    """A station on a virtual radio with three sensors on a table."""

    def __init__(self, layout: Layout, count: int = 3) -> None:
        self.told: list[Event] = []
        self.searched: list[str | None] = []
        self.done = threading.Event()
        self._layout, self._count = layout, count
        self._playing: asyncio.Task[None] | None = None
        self.station = Station(layout, self.told.extend, self._on_searched, make_backends=self._open, search_s=3.0)

    async def _open(self) -> Backends:
        air = VirtualRadio(sensors(self._layout, 60.0)[: self._count], MonotonicClock())
        await air.open()
        self._playing = asyncio.create_task(air.play(round(60e9), realtime=True))
        return air.backends

    def _on_searched(self, trouble: str | None) -> None:
        self.searched.append(trouble)
        self.done.set()

    def search(self) -> None:
        self.done.clear()
        self.station.search()
        assert self.done.wait(30.0)


@pytest.fixture
def room(layout: Layout) -> Iterator[Room]:
    made = Room(layout)
    yield made
    made.station.close()


def test_sensors_are_found_by_serial_number_and_stream_into_a_recording(
    room: Room, layout: Layout, tmp_path: Path
) -> None:
    room.search()
    assert room.searched == [None]
    assert set(room.station.sensors) == set(NAMES)
    connected = [one for one in room.told if isinstance(one, Link) and one.state is LinkState.CONNECTED]
    assert {one.sensor for one in connected} == set(NAMES)
    heard: list[Event] = []
    streaming = threading.Event()

    def sink(events: list[Event]) -> None:
        heard.extend(events)
        if {one.sensor for one in heard if isinstance(one, Link) and one.state is LinkState.STREAMING} == set(NAMES):
            streaming.set()

    journal = new_recording(tmp_path, "on the table")
    practice = SensorPractice(
        Person("Robin"), room.station, dict(zip(NAMES, PLACES, strict=True)), layout, journal, [sink]
    )
    practice.start()
    assert streaming.wait(20.0)
    practice.command("good", {"rep": 0, "on": True})
    practice.stop()
    practice.stop()
    recording = read_items(practice.recording)
    items: list[Any] = list(recording)
    assert recording.complete
    assert isinstance(items[0], Command)
    assert [item.verb for item in items if isinstance(item, Command)] == ["begin", "good"]
    assert {item.sensor for item in items if isinstance(item, RawPacket)} <= set(NAMES)


def test_nobody_there_is_told_with_what_to_try(layout: Layout) -> None:
    room = Room(layout, count=0)
    room.search()
    assert room.searched[0] is not None
    assert "switch them on" in room.searched[0]
    room.station.close()
    room.station.close()


def test_whatever_a_radio_does_is_told(layout: Layout) -> None:
    async def broken() -> Backends:
        raise ValueError("odd")

    searched: list[str | None] = []
    done = threading.Event()

    def on_searched(trouble: str | None) -> None:
        searched.append(trouble)
        done.set()

    station = Station(layout, lambda events: None, on_searched, make_backends=broken)
    station.search()
    assert done.wait(10.0)
    station.close()
    assert searched == ["the search failed (ValueError: odd)"]
