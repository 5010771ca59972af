"""The firmware's application in its desktop port: what it says on the radio, when all goes well and when not."""

from __future__ import annotations

import struct

import pytest
from desktop_sensor import (
    BATTERY,
    CLOCK,
    CONTROL,
    FIRMWARE,
    LAYOUT,
    LOOP_LATE,
    MODEL,
    MOTION,
    PART_DEAD,
    PART_SILENT,
    RADIO_BUSY,
    RANGES,
    SERIAL,
    TEMPERATURE,
    Process,
)
from firmware_build import needs_cc
from packet_streams import decode

from imufeedback.ble import profile
from imufeedback.records import Flag, RawPacket

pytestmark = needs_cc
FULL_MTU = 247


def connect(process: Process, mtu: int = FULL_MTU, settings: str = "03c80004") -> None:
    process.ask("c")
    process.ask("m", mtu.to_bytes(2, "little"))
    process.ask("n", b"\x01")
    assert process.write(settings) == 0


def numbers(packets: list[bytes]) -> list[int]:
    return [int.from_bytes(one[2:4], "little") for one in packets]


def ticks(packets: list[bytes]) -> list[int]:
    return [int.from_bytes(one[4:8], "little") for one in packets]


def advertised(frames: list[tuple[str, bytes]]) -> list[tuple[int, bytes, bytes]]:
    return [
        (int.from_bytes(body[:2], "little"), body[3 : 3 + body[2]], body[3 + body[2] :])
        for kind, body in frames
        if kind == "a"
    ]


@pytest.mark.parametrize(
    "serial", ["AB-0042", "OWN-2026-0000042", "Ü" * 9, "x" * 12 + "Ü", "12345678901é4567890é2", "7" * 80]
)
def test_the_scan_response_announces_as_much_of_the_serial_as_fits(process: Process, serial: str) -> None:
    ((interval_ms, data, response),) = advertised(process.power_up(serial))
    assert interval_ms == 100
    assert len(data) <= 31
    assert len(response) <= 31
    assert response[1] == 0x21
    kept = serial[:64] if len(serial) > 64 else serial
    assert response[18:] == profile.announcement(kept)
    assert process.read(SERIAL) == (0, kept.encode()[:64])


def test_the_advertisement_has_flags_service_and_short_name(process: Process) -> None:
    ((_, data, _),) = advertised(process.power_up())
    parts = []
    while data:
        parts.append((data[1], data[2 : data[0] + 1]))
        data = data[data[0] + 1 :]
    service = bytes.fromhex(profile.SERVICE.replace("-", ""))[::-1]
    assert parts == [(1, b"\x06"), (7, service), (8, b"Desktop ")]


def test_it_advertises_slower_after_a_minute_and_at_once_when_a_link_ends(process: Process) -> None:
    assert not advertised(process.pass_time(59.5))
    assert [one[0] for one in advertised(process.pass_time(1))] == [1000]
    assert not advertised(process.pass_time(200))
    process.ask("c")
    assert not advertised(process.pass_time(61))
    assert [one[0] for one in advertised(process.ask("d"))] == [100]


def test_it_asks_for_the_profiles_connection(process: Process) -> None:
    ((kind, body),) = process.ask("c")
    assert kind == "q"
    interval, latency, timeout = struct.unpack("<3H", body)
    assert (interval * 1.25, latency) == (11.25, 0)
    assert timeout * 10 > (1 + latency) * interval * 1.25 * 2  # Core Specification, Vol 4, Part E, 7.8.12


def test_what_can_be_read(process: Process) -> None:
    process.ask("v", (3950).to_bytes(2, "little"))
    process.ask("k", struct.pack("<h", -512))
    process.power_up("AB-0042")
    assert process.read(LAYOUT) == (0, b"house/1")
    assert process.read(MODEL)[1].decode()
    assert process.read(FIRMWARE)[1].decode()
    assert process.read(BATTERY) == (0, bytes([75]))
    assert process.read(TEMPERATURE) == (0, struct.pack("<h", -512))
    assert process.read(CONTROL) == (0, bytes.fromhex("00640001"))
    assert process.read(MOTION) == (2, b"")
    assert process.write("01", LAYOUT) == 3


def test_a_level_for_every_voltage(process: Process) -> None:
    levels = []
    for mv in range(3300, 4301, 20):
        process.ask("v", mv.to_bytes(2, "little"))
        process.pass_time(1)
        levels.append(process.read(BATTERY)[1][0])
    assert levels == sorted(levels)
    assert (levels[0], levels[-1]) == (0, 100)


def test_a_low_cell_is_switched_off_but_not_for_one_dip(process: Process) -> None:
    connect(process)
    assert process.write("0405") == 0
    assert process.write("01") == 0
    process.ask("v", (3200).to_bytes(2, "little"))
    assert not [one for one in process.pass_time(2.0) if one[0] == "o"]
    process.ask("v", (3700).to_bytes(2, "little"))
    assert process.packets(2.0)
    process.ask("v", (3200).to_bytes(2, "little"))
    assert [kind for kind, _ in process.pass_time(3.5) if kind in "lo"][-1] == "o"
    assert not process.pass_time(10)
    assert process.read(CONTROL)[1][0] == 0


def test_every_sample_arrives_in_full_packets_with_its_time(process: Process) -> None:
    connect(process)
    samples = [[k, -k, 3 * k, 2048 - k, k % 7, -32768 if k == 9 else 32767 - k] for k in range(200)]
    process.measure(samples)
    assert process.write("01") == 0
    packets = process.packets(1.0)
    assert numbers(packets) == list(range(50))
    assert [later - one for one, later in zip(ticks(packets), ticks(packets)[1:], strict=False)] == [20_000] * 49
    flat = [value for one in packets for value in struct.unpack("<24h", one[8:])]
    assert flat == [value for one in samples for value in one]


@pytest.mark.parametrize(("mtu", "samples"), [(23, 1), (24, 1), (65, 4), (64, 4), (58, 3), (247, 4), (517, 4), (5, 1)])
def test_packets_fit_the_mtu(process: Process, mtu: int, samples: int) -> None:
    connect(process, mtu)
    assert process.write("01") == 0
    assert {one[1] for one in process.packets(0.5)} == {samples}
    assert process.read(CONTROL)[1] == bytes.fromhex("01c80004")  # what was asked for, as the reader sees a cut packet


def test_settings_take_effect_at_once_and_a_packet_has_one_rate(process: Process) -> None:
    connect(process, settings="03c80008")
    assert process.write("01") == 0
    first = process.packets(0.1025)  # 20 samples: two packets and a half
    assert process.write("03640002") == 0
    then = process.packets(0.102)
    assert [one[1] for one in first] == [8, 8]
    assert [one[1] for one in then] == [4, 2, 2, 2, 2, 2]
    assert numbers(first + then) == list(range(8))
    assert [b - a for a, b in zip(ticks(then[1:]), ticks(then[2:]), strict=False)] == [20_000] * 4
    assert process.write("03640001") == 0
    assert {one[1] for one in process.packets(0.1)} == {1}


def test_fewer_samples_a_packet_in_the_middle_of_one(process: Process) -> None:
    connect(process, settings="03c80008")
    assert process.write("01") == 0
    assert not process.packets(0.026)
    assert process.write("03c80003") == 0
    assert [one[1] for one in process.packets(0.031)] == [5, 3, 3]


@pytest.mark.parametrize(
    ("data", "code"),
    [
        *(("", 0x80), ("00", 0x80), ("05", 0x80), ("ff0102", 0x80)),
        *(("0100", 0x81), ("0200", 0x81), ("03c800", 0x81), ("03c8000400", 0x81), ("04", 0x81), ("040500", 0x81)),
        *(("03000004", 0x81), ("03c80000", 0x81), ("03c80014", 0x81), ("03c90004", 0x81), ("03ffff04", 0x81)),
    ],
)
def test_what_is_refused_changes_nothing(process: Process, data: str, code: int) -> None:
    before = process.read(CONTROL)
    assert process.write(data) == code
    assert process.read(CONTROL) == before


def test_nothing_is_sent_before_start_nor_after_stop_nor_unasked(process: Process) -> None:
    connect(process)
    assert not process.packets(1.0)
    assert process.write("01") == 0
    assert process.write("01") == 0
    assert process.packets(0.5)
    assert process.write("02") == 0
    assert process.write("02") == 0
    assert not process.packets(1.0)
    process.ask("n", b"\x00")
    assert process.write("01") == 0
    assert not process.packets(1.0)
    process.ask("n", b"\x01")
    assert len(process.packets(0.5)) == 25  # nothing old


def test_when_the_link_ends_it_stops_keeps_its_settings_and_counts_on(process: Process) -> None:
    connect(process)
    assert process.write("01") == 0
    before = process.packets(1.0)
    process.ask("d")
    assert process.read(CONTROL)[1] == bytes.fromhex("00c80004")
    assert not process.packets(3.0)
    process.ask("c")
    process.ask("m", FULL_MTU.to_bytes(2, "little"))
    process.ask("n", b"\x01")
    assert process.write("01") == 0
    after = process.packets(0.5)
    apart_us = ticks(after)[0] - ticks(before)[-1]
    assert 3.0e6 < apart_us < 3.1e6
    assert abs((numbers(after)[0] - numbers(before)[-1]) - apart_us / 20_000) <= 1


def test_power_up_begins_anew(process: Process) -> None:
    connect(process)
    assert process.write("01") == 0
    process.pass_time(1)
    process.power_up()
    assert process.read(CONTROL)[1] == bytes.fromhex("00640001")
    process.ask("c")
    process.ask("n", b"\x01")
    assert process.write("01") == 0
    packets = process.packets(0.1)
    assert numbers(packets)[0] == 0
    assert ticks(packets)[0] <= 20_000


def test_counters_wrap(process: Process) -> None:
    process.fault(CLOCK, 2)
    process.power_up()
    connect(process, settings="03900101")  # 400 Hz, one a packet: 65,536 numbers in 164 s
    assert process.write("01") == 0
    packets = [one for _ in range(170) for one in process.packets(1.0)]
    assert len(packets) == 68_000
    assert {(b - a) % 65_536 for a, b in zip(numbers(packets), numbers(packets)[1:], strict=False)} == {1}
    assert {(b - a) % 2**32 for a, b in zip(ticks(packets), ticks(packets)[1:], strict=False)} == {2_500}


def test_what_cannot_be_measured_is_sent_as_missing(process: Process) -> None:
    connect(process)
    process.fault(PART_SILENT, 3)
    assert process.write("01") == 0
    (block,), rejected, _ = decode([RawPacket("a", 0, process.packets(0.02)[0])])
    assert block.flags.tolist() == [int(Flag.INVALID)] * 3 + [0]
    assert not rejected


@pytest.mark.parametrize("late_ms", [60, 200, 1000])
def test_a_main_loop_that_stands_still_leaves_places(process: Process, late_ms: int) -> None:
    """Samples that did not fit into the ring are sent as missing; the others keep their time."""
    packets = stand_still(process, late_ms)
    assert {(b - a) for a, b in zip(numbers(packets), numbers(packets)[1:], strict=False)} == {1}
    assert {b - a for a, b in zip(ticks(packets), ticks(packets)[1:], strict=False)} == {20_000}
    missing = sum(one[8 + 12 * k : 20 + 12 * k] == bytes(12) for one in packets for k in range(one[1]))
    assert missing == max(0, late_ms // 5 - 16)


@pytest.mark.parametrize("late_ms", [1400, 2000, 5000])
def test_a_main_loop_that_stands_still_for_longer_shows_in_the_numbers(process: Process, late_ms: int) -> None:
    packets = stand_still(process, late_ms)
    steps = [b - a for a, b in zip(numbers(packets), numbers(packets)[1:], strict=False)]
    assert max(steps) > 1
    assert ticks(packets)[-1] > 1000 * (late_ms + 250)


def stand_still(process: Process, late_ms: int) -> list[bytes]:
    connect(process)
    assert process.write("01") == 0
    before = process.packets(0.1)
    process.fault(LOOP_LATE, late_ms)
    return before + process.packets(late_ms / 1000 + 0.2)


def test_a_busy_radio_costs_the_oldest_and_shows_in_the_numbers(process: Process) -> None:
    connect(process)
    assert process.write("01") == 0
    assert numbers(process.packets(0.5)) == list(range(25))
    process.fault(RADIO_BUSY, 3000)  # one try a round of the main loop: 3 s
    late = process.packets(3.5)
    assert numbers(late)[-1] == 199
    first = numbers(late)[0]
    assert 25 < first <= 25 + 150 - 49
    assert numbers(late) == list(range(first, 200))


def test_a_part_that_does_not_answer_is_told(process: Process) -> None:
    connect(process)
    process.fault(PART_DEAD, 1)
    assert process.write("01") == 0x0E
    assert process.read(CONTROL)[1][0] == 0
    assert process.write("01") == 0
    process.fault(PART_DEAD, 1)
    assert process.write("03640004") == 0x0E
    assert process.read(CONTROL)[1] == bytes.fromhex("01c80004")


def test_a_part_of_other_ranges_is_rescaled_and_never_wrapped(process: Process) -> None:
    process.fault(RANGES, 1)
    process.power_up()
    connect(process, settings="03c80001")
    process.measure([[100, -100, 20000, 1024, -20000, 16383], [-32768] * 6])
    assert process.write("01") == 0
    packets = process.packets(0.01)
    assert struct.unpack("<6h", packets[0][8:]) == (200, -200, 32767, 2048, -32768, 32766)
    assert struct.unpack("<6h", packets[1][8:]) == (-32768,) * 6


@pytest.mark.parametrize("fault", [2, 3])
def test_a_part_that_cannot_do_what_the_profile_asks_is_refused(process: Process, fault: int) -> None:
    process.fault(RANGES, fault)
    frames = process.power_up()
    assert [kind for kind, _ in frames if kind in "ao"] == ["o"]


def lights(process: Process, seconds: float) -> list[int]:
    return [body[0] for kind, body in process.pass_time(seconds) if kind == "l"]


def test_it_blinks_for_so_long_and_goes_on_when_the_link_ends(process: Process) -> None:
    process.ask("c")
    assert process.write("0402") == 0
    first = lights(process, 1.0)
    process.ask("d")
    rest = lights(process, 3.0)
    assert first + rest == [1, 0] * 4
    assert not lights(process, 3.0)
    assert process.write("04ff") == 0
    assert len(lights(process, 256.0)) == 255 * 4
    assert process.write("0400") == 0
    assert not lights(process, 1.0)


def test_unknown_and_cut_frames_do_no_harm(process: Process) -> None:
    assert process.ask("?", b"nothing") == []
    process.fault(77, 1)
    process.ask("s", bytes(13))
    assert process.read(LAYOUT) == (0, b"house/1")
