"""Sensors on a desk, a real stack, and the commands that a person gives one after the other."""

from __future__ import annotations

import re
import sys

import pytest
from guest import CHECKOUT, HERE, Guest

from imufeedback.records import Segment

WORN = (("BENCH-1", Segment.PELVIS), ("BENCH-2", Segment.LEFT_THIGH), ("BENCH-3", Segment.RIGHT_THIGH))
ALL = (0, 1, 2)
FOREIGN = "example_big_endian"
CONNECTS = 20


def test_scan_assign_and_check_at_once(guest: Guest) -> None:
    """The system still lists the sensors from the scan when the check connects: four samples a packet all the same."""
    with guest.fresh("bench"):
        assert guest.imufeedback("sensors", "scan").out.count("not yours") >= 3
        guest.imufeedback("sensors", "assign", "BENCH-1", "pelvis")
        assert "BENCH-1: pelvis" in guest.imufeedback("sensors", "assign", "C0:00:00:00:00:02", "left_thigh").out
        guest.knows(*WORN)
        guest.imufeedback("sensors", "scan")
        checked = guest.imufeedback("sensors", "check", "--seconds 4", status=None)
        assert len(re.findall(r"^BENCH-\d \(.*\): ", checked.out, re.MULTILINE)) == 3, checked.out
        for one in guest.sensors():
            assert list(one["sizes"]) == ["56"]  # four samples
            assert not one["connected"]
        watched = guest.imufeedback("sensors", "watch", "--seconds 3")
        assert all(serial in watched.out for serial, _ in WORN)
        guest.imufeedback("sensors", "blink", "BENCH-3")
        assert [one["blinks"] for one in guest.sensors()] == [0, 0, 1]


def test_twenty_connects(guest: Guest) -> None:
    """In one process, as a window does it: each gives full packets, and no end is told as lost."""
    with guest.fresh("light"):
        done = guest.run(
            f"{sys.executable} {HERE / 'connects.py'} light {CONNECTS}",
            300,
            PYTHONPATH=str(CHECKOUT),
            IMUFEEDBACK_HOME=guest.home,
        )
        rounds = [line for line in done.out.splitlines() if line.startswith("round")]
        assert len(rounds) == CONNECTS, done.out
        assert all(
            re.fullmatch(r"round \d+: 3 sensors, \[16\] samples a packet, 0 lost at the end, .* s", one)
            for one in rounds
        )


def test_a_layout_of_another_maker(guest: Guest) -> None:
    """Scanned, then checked at once; the packets of a declared layout cannot be made smaller."""
    with guest.fresh(FOREIGN):
        guest.imufeedback("sensors", "scan", f"--layout {FOREIGN}")
        guest.imufeedback("sensors", "assign", "C0:00:00:00:00:01", "pelvis", f"--layout {FOREIGN}")
        checked = guest.imufeedback("sensors", "check", "--seconds 4", f"--layout {FOREIGN}", status=None)
        assert re.search(r"^BENCH-1 \(pelvis\): .*\[\d+\.\d Hz", checked.out, re.MULTILINE), checked.out
        assert list(guest.sensors()[0]["sizes"]) == ["28"]


def test_a_board_that_was_flashed_anew(guest: Guest) -> None:
    """The system remembers the old services. The person is told so, does what the line says, and it works."""
    with guest.fresh(FOREIGN):
        guest.imufeedback("sensors", "assign", "C0:00:00:00:00:01", "pelvis", f"--layout {FOREIGN}")
        guest.stop("air")
        guest.start_air("bench")
        guest.knows(*WORN)
        told = guest.imufeedback("sensors", "check", "--seconds 3", status=None).out
        if "flashed anew" in told:
            (command,) = re.findall(r"bluetoothctl remove [0-9A-F:]{17}", told)
            guest.run(command)
            told = guest.imufeedback("sensors", "check", "--seconds 3", status=None).out
        assert "BENCH-1 (pelvis): " in told, told


def test_a_board_that_offers_another_service_now(guest: Guest) -> None:
    with guest.fresh("bench"):
        guest.imufeedback("sensors", "assign", "BENCH-1", "pelvis")
        guest.stop("air")
        guest.start_air(FOREIGN)
        told = guest.imufeedback("sensors", "check", "--seconds 3", status=1).out
        assert "pelvis (BENCH-1) is in reach" in told, told
        assert "flashed anew" in told


@pytest.mark.parametrize(
    ("what", "says"),
    [
        ("bluetoothctl power off", "Bluetooth is switched off – switch it on: bluetoothctl power on"),
        ("the service", "systemctl status bluetooth"),
        ("the adapter", "there is no Bluetooth adapter – plug in a Bluetooth adapter"),
    ],
)
def test_no_bluetooth_is_one_line_with_advice(guest: Guest, what: str, says: str) -> None:
    with guest.fresh("bench"):
        match what:
            case "the service":
                guest.stop("bluetooth")
            case "the adapter":
                guest.stop("air")
            case _:
                guest.run(what)
        ended = guest.imufeedback("sensors", "scan", status=1)
        assert says in ended.out, ended.out
        assert len(ended.out.strip().splitlines()) == 1, ended.out
