"""Whose sensor is in reach: told before anybody is connected, and never by guessing."""

from __future__ import annotations

import asyncio

from bleak.backends.device import BLEDevice
from hypothesis import given
from hypothesis import strategies as st
from packet_streams import HOUSE
from virtual_world import sensor, world

from imufeedback.ble import profile
from imufeedback.ble.own import has_all, in_reach, label, named
from imufeedback.ble.roster import KnownSensor, key
from imufeedback.ble.scan import HeardSensor
from imufeedback.ble.virtual import VirtualSensor
from imufeedback.errors import RadioError
from imufeedback.records import Segment

SERIALS = st.text(st.characters(categories=["L", "N", "P"], max_codepoint=0x24F), min_size=1, max_size=40)


def heard(address: str, announced: str = "", rssi_dbm: int = -60) -> HeardSensor:
    return HeardSensor("IMU", address, rssi_dbm, BLEDevice(address, "IMU", None), announced)


def announces(serial: str, address: str = "C0:01") -> HeardSensor:
    return heard(address, profile.announced(profile.announcement(serial)))


@given(SERIALS)
def test_a_known_sensor_is_told_by_what_it_announces(serial: str) -> None:
    assert len(profile.announcement(serial)) <= profile.ANNOUNCED_BYTES
    reach = in_reach([announces(serial)], [KnownSensor(serial, address="C0:99")])
    assert [known.serial for _, known in reach.own] == [serial]
    assert reach.others == ()


@given(SERIALS, SERIALS)
def test_another_serial_number_is_another_sensor(serial: str, other: str) -> None:
    mine = profile.announcement(serial)
    reach = in_reach([announces(other)], [KnownSensor(serial)])
    same = key(profile.announced(profile.announcement(other))) == key(profile.announced(mine))
    assert len(reach.own) == same
    assert len(reach.others) == 1 - same


@given(st.binary(max_size=20))
def test_any_bytes_may_be_announced(data: bytes) -> None:
    text = profile.announced(data)
    assert text.isprintable()
    assert in_reach([heard("C0:01", text)], [KnownSensor("AB-01")]).doubts == ()


def test_what_is_announced_goes_before_an_address_that_may_be_somebody_elses_today() -> None:
    known = [KnownSensor("AB-01", address="C0:01")]
    reach = in_reach([announces("AB-99", "c0:01"), announces("ab-01", "C0:02")], known)
    assert [found.address for found, _ in reach.own] == ["C0:02"]
    assert [found.address for found in reach.others] == ["c0:01"]


def test_a_sensor_that_announces_nothing_is_told_by_its_address_and_a_new_address_is_a_question() -> None:
    known = [KnownSensor("AB-01", address="C0:01"), KnownSensor("C0:07", by_address=True)]
    reach = in_reach([heard("c0:01"), heard("C0:07"), heard("C0:02")], known)
    assert [one.serial for _, one in reach.own] == ["AB-01", "C0:07"]
    assert [one.address for one in reach.others] == ["C0:02"]
    assert in_reach([heard("E6-21")], known).own == ()


def test_of_two_that_call_themselves_alike_the_known_address_is_taken_or_none() -> None:
    two = [announces("AB-01", "C0:01"), announces("AB-01", "C0:02")]
    reach = in_reach(two, [KnownSensor("AB-01", address="C0:02")])
    assert [found.address for found, _ in reach.own] == ["C0:02"]
    reach = in_reach(two, [KnownSensor("AB-01", address="C0:03")])
    assert reach.own == ()
    assert len(reach.others) == 2
    (line,) = reach.doubts
    assert "2 sensors call themselves AB-01" in line


def test_two_known_ones_with_one_end_are_told_by_their_addresses() -> None:
    known = [KnownSensor("A-0000000000001", address="C0:01"), KnownSensor("B-0000000000001", address="C0:02")]
    reach = in_reach([announces("B-0000000000001", "C0:02"), announces("A-0000000000001", "C0:01")], known)
    assert [(found.address, one.serial[0]) for found, one in reach.own] == [("C0:01", "A"), ("C0:02", "B")]
    assert in_reach([announces("B-0000000000001", "C0:09")], known).own == ()


def test_all_are_there_when_those_with_a_place_are() -> None:
    known = [KnownSensor("AB-01", Segment.PELVIS), KnownSensor("SPARE")]
    assert has_all([announces("AB-01")], known)
    assert not has_all([announces("SPARE")], known)
    assert not has_all([announces("AB-01")], [])


def test_a_person_names_a_sensor_by_serial_number_end_or_address() -> None:
    found = [announces("OWN-0000000000000042", "C0:01"), heard("C0:02")]
    reach = in_reach(found, [])
    assert named(found, reach, "own-0000000000000042") == [found[0]]
    assert named(found, reach, label(found[0])) == [found[0]]
    assert named(found, reach, "c0:02") == [found[1]]
    assert named(found, reach, " ") == []


def test_the_scan_response_fits_a_legacy_advertisement() -> None:
    one = sensor("A-VERY-LONG-SERIAL-NUMBER-0001", [])
    assert len(one._scan_response()) == 31
    assert len(one._advertisement()) <= 31


def test_another_sensor_at_a_known_address_is_let_go_of_before_anything_is_written() -> None:
    async def run() -> tuple[VirtualSensor, list[str]]:
        stranger = sensor("STRANGER", [])
        async with world([stranger]) as here:
            (found,) = await here.radio.scan(2.0, expect=1)
            failed = await here.radio.reach([(found, "MINE-1")])
            assert here.radio.links == ()
            return stranger, [str(error) for _, error in failed]

    stranger, failed = asyncio.run(run())
    assert stranger.connections == 1
    assert stranger.commands == []
    assert not stranger.connected
    assert len(failed) == 1
    assert "another sensor (STRANGER)" in failed[0]


def test_one_that_cannot_be_reached_keeps_nobody_waiting() -> None:
    async def run() -> tuple[list[str], list[RadioError]]:
        dead = VirtualSensor("DEAD", "DEAD", iter([]), HOUSE, answers=False, signal_dbm=-40)
        async with world([dead, sensor("SYN-1", []), sensor("SYN-2", [])]) as here:
            found = await here.radio.scan(2.0, expect=3)
            assert found[0].announced == "DEAD"
            failed = await here.radio.reach([(one, one.announced) for one in found])
            return [link.sensor for link in here.radio.links], [error for _, error in failed]

    links, failed = asyncio.run(run())
    assert links == ["SYN-1", "SYN-2"]
    assert ["DEAD" in str(error) for error in failed] == [True]
