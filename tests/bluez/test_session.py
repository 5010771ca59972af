"""A live session without a window on a real stack; one fault after the other, and its end. Times are of the guest's
clock, from the moment the sensor, or the service, is there again to the first packet."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator

import pytest
from guest import Guest, Running

from imufeedback.record.replay import read_items
from imufeedback.records import LinkNote, LinkState, RawPacket, Segment

WORN = (("BENCH-1", Segment.PELVIS), ("BENCH-2", Segment.LEFT_THIGH), ("BENCH-3", Segment.RIGHT_THIGH))
ALL = (0, 1, 2)
DROP_S, TIMEOUT_S, SERVICE_S, ADDRESS_S = 3.0, 3.0, 8.0, 8.0
SETTLE_S, AWAY_S = 2.0, 5.0


@pytest.fixture(scope="module", name="live")
def begin_a_session(guest: Guest) -> Iterator[Running]:
    with guest.fresh("light"):
        guest.knows(*WORN, layout="light")
        running = guest.start(
            "live --headless --layout light --player Ana --handed right --accept-cautions --no-sound",
            f"--out {guest.home}/recordings",  # not on the shared disk: every fsync there stops the whole guest
        )
        guest.streams(ALL)
        yield running
        if not running.over:
            running.signal("KILL")


def is_back(guest: Guest, which: tuple[int, ...], since: float, limit_s: float, what: str) -> None:
    again = guest.streams(which, since)
    still_s = guest.stood_still_s(since, again)
    guest.measured(
        f"{what}: back after {again - since:.2f} s, limit {limit_s:g}; the guest stood still for {still_s:.2f} s of it"
    )
    assert again - since - still_s <= limit_s
    assert all(one["samples"] == 16 and one["rate_hz"] == 200 for one in guest.sensors())
    time.sleep(SETTLE_S)


@pytest.mark.parametrize("away_s", [0.5, 5.0])
def test_a_drop(live: Running, guest: Guest, away_s: float) -> None:
    guest.air("drop", 0)
    time.sleep(away_s)
    is_back(guest, (0,), guest.air("back", 0)["now"], DROP_S, f"drop of {away_s:g} s")
    assert "pelvis (BENCH-1) lost: the link broke" in live.out


@pytest.mark.parametrize("away_s", [0.5, 5.0])
def test_a_supervision_timeout(live: Running, guest: Guest, away_s: float) -> None:
    guest.air("lose", 1)
    time.sleep(0.5 + away_s)
    is_back(guest, (1,), guest.air("back", 1)["now"], TIMEOUT_S, f"timeout, {away_s:g} s away")


def test_a_sensor_that_is_silent_is_told_as_that(live: Running, guest: Guest) -> None:
    guest.air("mute", 2)
    live.says(r"right thigh \(BENCH-3\) silent: no data for [01]\.\d s", 10)
    is_back(guest, (2,), guest.air("unmute", 2)["now"], DROP_S, "silence")


def test_a_new_address(live: Running, guest: Guest) -> None:
    is_back(guest, (0,), guest.air("move", 0)["now"], ADDRESS_S, "new address")
    assert guest.sensors()[0]["address"].startswith("D0:")


def test_bluetooth_is_switched_off_and_on(live: Running, guest: Guest) -> None:
    guest.run("bluetoothctl power off")
    live.says("Bluetooth is switched off; switch it on: bluetoothctl power on", 30, len(ALL))
    time.sleep(AWAY_S)
    is_back(guest, ALL, guest.run("bluetoothctl power on").ended, SERVICE_S, "switched off and on")


@pytest.mark.parametrize("signal", ["TERM", "KILL"])
def test_the_service_is_restarted(live: Running, guest: Guest, signal: str) -> None:
    told = live.out.count("systemctl status bluetooth")
    guest.stop("bluetooth", signal)
    live.says("systemctl status bluetooth", 30, told + len(ALL))
    time.sleep(AWAY_S)
    is_back(guest, ALL, guest.start_bluetooth(), SERVICE_S, f"service ended by {signal}")


def test_the_system_is_told_to_forget_a_sensor(live: Running, guest: Guest) -> None:
    address = guest.sensors()[2]["address"]
    ended = guest.run(f"bluetoothctl remove {address}")
    is_back(guest, (2,), ended.ended, ADDRESS_S, "forgotten")


def test_the_end_is_never_told_as_lost(live: Running, guest: Guest) -> None:
    before = live.out
    begun = guest.run("true").ended
    live.signal("INT")
    ended = live.wait(60)
    guest.measured(f"ended within {ended.ended - begun:.2f} s")
    assert not re.search(r"BENCH-\d\) (lost|silent|searching)", ended.out.removeprefix(before))
    (path,) = guest.fetch("recordings/*.mcap")
    items = list(read_items(path))
    notes = [one for one in items if isinstance(one, LinkNote)]
    for serial, _ in WORN:
        last = [one.state for one in notes if one.sensor == serial][-2:]
        assert last == [LinkState.STREAMING, LinkState.CLOSED]
    assert {len(one.payload) for one in items if isinstance(one, RawPacket)} == {200}
    assert guest.air("told")["links"] == 0
