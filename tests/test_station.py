"""Sensors before a session and into it, on the virtual radio; and a practice on them that ends in a whole recording."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from imufeedback import resources, threads
from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.profile import Blink
from imufeedback.ble.roster import KnownSensor
from imufeedback.ble.virtual import VirtualRadio
from imufeedback.ble.virtual.bench import NAMES, PLACES, sensors
from imufeedback.ble.virtual.neighbours import strangers
from imufeedback.commands import MarkGood
from imufeedback.live.practice import Practice, new_recording
from imufeedback.live.station import Station
from imufeedback.live.station_source import WornSensors
from imufeedback.packets import Layout, parse_layout
from imufeedback.people import Person
from imufeedback.record.replay import read_items
from imufeedback.records import Command, Event, Item, Link, LinkNote, LinkState, RawPacket


@pytest.fixture
def layout() -> Layout:
    return parse_layout(resources.text("layouts", "house"), "house")


class Room:
    """A station on a virtual radio with three sensors on a table, all of them known, and others around."""

    def __init__(self, layout: Layout, count: int = 3, others: int = 0, known: tuple[str, ...] = NAMES) -> None:
        self.own = sensors(layout, 60.0)[:count]
        self.others = strangers(layout, others)
        self._known = [KnownSensor(name, role) for name, role in zip(NAMES, PLACES, strict=True) if name in known]
        self.told: list[Event] = []
        self.searched: list[str | None] = []
        self.done = threading.Event()
        self._playing: asyncio.Task[None] | None = None
        self.station = Station(
            layout,
            self.told.extend,
            self._on_searched,
            known=lambda: self._known,
            make_backends=self._open,
            search_s=3.0,
        )

    async def _open(self) -> Backends:
        air = VirtualRadio([*self.others, *self.own], MonotonicClock())
        await air.open()
        self._playing = asyncio.create_task(air.play(round(60e9), realtime=True))
        return air.backends

    def _on_searched(self, trouble: str | None) -> None:
        self.searched.append(trouble)
        self.done.set()

    def ask(self, work: Callable[[], None]) -> str | None:
        """Let the station do something; how it ended."""
        self.done.clear()
        work()
        assert self.done.wait(30.0)
        return self.searched[-1]

    def search(self) -> None:
        self.ask(self.station.search)

    def touched(self) -> int:
        return sum(bool(one.connections or one.commands or one.delivered or one.blinks) for one in self.others)


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
    worn = WornSensors(room.station, dict(zip(NAMES, PLACES, strict=True)), layout, Person("Robin").player)
    practice = Practice(worn, journal, [sink])
    practice.start()
    assert streaming.wait(20.0)
    practice.command(MarkGood(0, True))
    practice.stop()
    practice.stop()
    recording = read_items(journal.path)
    items: list[Any] = list(recording)
    assert recording.complete
    assert isinstance(items[0], Command)
    assert [item.verb for item in items if isinstance(item, Command)] == ["begin", "note", "good"]
    assert {item.sensor for item in items if isinstance(item, RawPacket)} <= set(NAMES)


def test_the_radio_of_real_sensors_has_the_turns_that_latency_measures(
    layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(threads, "first_turn", lambda: asked.append(threading.current_thread().name))
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    room = Room(layout, count=0)
    room.search()
    room.station.close()
    assert asked == ["ble"]


def test_on_one_core_no_thread_goes_before_the_bluetooth_service(
    layout: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[str] = []
    monkeypatch.setattr(threads, "first_turn", lambda: asked.append(threading.current_thread().name))
    monkeypatch.setattr("os.cpu_count", lambda: 1)
    room = Room(layout, count=0)
    room.search()
    room.station.close()
    assert asked == []


def test_only_own_sensors_are_connected_and_others_are_listed_by_strength(layout: Layout) -> None:
    room = Room(layout, others=8)
    room.search()
    assert room.searched == [None]
    assert set(room.station.sensors) == set(NAMES)
    assert room.touched() == 0
    strengths = [one.rssi_dbm for one in room.station.others]
    assert len(strengths) == 8
    assert strengths == sorted(strengths, reverse=True)
    assert room.station.absent == ()
    room.station.close()


def test_with_no_own_sensor_nobody_is_touched_and_nothing_has_failed(layout: Layout) -> None:
    room = Room(layout, others=3, known=())
    room.search()
    assert room.searched == [None]
    assert room.station.sensors == ()
    assert len(room.station.others) == 6
    assert room.touched() == 0
    assert not any(one.connections for one in room.own)
    room.station.close()


def test_a_sensor_that_is_pointed_at_is_taken_and_can_be_left_and_taken_again(layout: Layout) -> None:
    room = Room(layout, others=2, known=NAMES[:2])
    room.search()
    (new,) = [one for one in room.station.others if one.announced == NAMES[2]]
    assert room.ask(lambda: room.station.take(new.address)) is None
    assert room.station.sensors == NAMES
    assert new not in room.station.others
    assert room.ask(lambda: room.station.leave(NAMES[2])) is None
    assert room.station.sensors == NAMES[:2]
    assert not room.own[2].connected
    assert room.ask(lambda: room.station.take(NAMES[2])) is None
    assert room.station.sensors == NAMES
    assert "not in reach" in str(room.ask(lambda: room.station.take("C0:FF")))
    assert room.touched() == 0
    room.station.close()


def test_a_light_is_asked_of_one_sensor_and_of_nobody_else(layout: Layout) -> None:
    room = Room(layout, others=3)
    room.search()
    willing = next(one for one in room.station.others if one.address == room.others[0].address)
    room.station.blink(willing.address)
    room.station.blink(NAMES[1])
    assert room.ask(lambda: room.station.leave(NAMES[0])) is None  # after what was asked before
    assert [one.blinks for one in room.others] == [1, 0, 0]
    assert [one.blinks for one in room.own] == [0, 1, 0]
    assert room.others[0].commands == [Blink(5)]
    assert not room.others[0].connected
    room.station.close()


def test_sensors_that_are_not_in_the_session_send_nothing_into_it(layout: Layout) -> None:
    room = Room(layout, others=2)
    room.search()
    items: list[Item] = []
    room.station.stream(items.append, NAMES[:2])
    deadline = time.monotonic() + 20.0
    while len({one.sensor for one in items if isinstance(one, RawPacket)}) < 2 and time.monotonic() < deadline:
        time.sleep(0.05)
    room.station.close()
    assert {one.sensor for one in items if isinstance(one, RawPacket | LinkNote)} == set(NAMES[:2])
    assert not room.own[2].commands[1:]  # its settings, before the session; never a START


def test_an_own_sensor_that_is_not_there_is_named_and_the_others_connect(layout: Layout) -> None:
    room = Room(layout, count=2, others=2)
    room.search()
    assert room.searched == [None]
    assert room.station.sensors == NAMES[:2]
    assert [one.serial for one in room.station.absent] == [NAMES[2]]
    room.station.close()


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


def test_a_window_waits_for_longer_than_a_station_takes_at_most() -> None:
    from imufeedback.app.stopping import STOP_LIMIT_S
    from imufeedback.live.station import CLOSE_S, END_S

    assert CLOSE_S + 2 * END_S < STOP_LIMIT_S
