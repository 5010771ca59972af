"""The profile's bytes, its numbers against others' tables, and its document against the code."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from bleak.uuids import uuidstr_to_str
from packet_streams import HOUSE, decode

from imufeedback.ble import profile
from imufeedback.packets import encode
from imufeedback.records import RawPacket

DOCUMENT = (Path(__file__).parents[2] / "firmware_notes" / "gatt_profile.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("uuid", "name"),
    [
        (profile.BATTERY_LEVEL, "Battery Level"),
        (profile.MODEL_NUMBER, "Model Number String"),
        (profile.SERIAL_NUMBER, "Serial Number String"),
        (profile.FIRMWARE_REVISION, "Firmware Revision String"),
    ],
)
def test_assigned_numbers(uuid: str, name: str) -> None:
    """Source: Bluetooth SIG, Assigned Numbers, as listed independently in bleak."""
    assert uuidstr_to_str(uuid) == name


def test_the_layout_names_the_profiles_uuids() -> None:
    gatt = HOUSE.gatt
    assert gatt is not None
    assert (gatt.service, gatt.notify, gatt.control, gatt.layout) == (
        profile.SERVICE,
        profile.MOTION,
        profile.CONTROL,
        profile.LAYOUT,
    )


@pytest.mark.parametrize(
    ("command", "data"),
    [
        (profile.Start(), "01"),
        (profile.Stop(), "02"),
        (profile.SensorSettings(200, 4), "03c80004"),
        (profile.Blink(5), "0405"),
    ],
)
def test_commands_there_and_back(command: profile.ControlCommand, data: str) -> None:
    assert profile.command_bytes(command).hex() == data
    assert profile.parse_command(bytes.fromhex(data)) == command


@pytest.mark.parametrize(
    ("data", "code"),
    [("", 0x80), ("7f", 0x80), ("0100", 0x81), ("03c800", 0x81), ("03000004", 0x81), ("03c80000", 0x81)],
)
def test_bad_commands_have_their_error(data: str, code: int) -> None:
    with pytest.raises(profile.BadCommand) as caught:
        profile.parse_command(bytes.fromhex(data))
    assert caught.value.code == code


def test_status_there_and_back_and_longer() -> None:
    status = profile.Status(True, profile.SensorSettings(100, 2))
    assert profile.status_bytes(status).hex() == "01640002"
    assert profile.parse_status(profile.status_bytes(status) + b"later") == status
    with pytest.raises(ValueError, match="expected 4"):
        profile.parse_status(b"\x01")


def _vectors() -> list[tuple[str, ...]]:
    """Rows of the document's table of packets: name, number, tick, gyr °/s, acc g, bytes."""
    rows = re.findall(r"^\| (P\d) \| (\d+) \| (\d+) \| ([^|]+) \| ([^|]+) \| `([0-9a-f ]+)` \|$", DOCUMENT, re.M)
    assert len(rows) >= 3
    return rows


def _numbers(text: str) -> np.ndarray:
    return np.array([[float(n) for n in part.split()] for part in text.split(";")])


@pytest.mark.parametrize("row", _vectors(), ids=lambda row: row[0])
def test_the_documents_packets(row: tuple[str, ...]) -> None:
    _, sequence, tick, gyr, acc, text = row
    data = bytes.fromhex(text.replace(" ", ""))
    gyr_rad_s, acc_m_s2 = np.radians(_numbers(gyr)), _numbers(acc) * 9.80665
    assert encode(HOUSE, int(sequence), int(tick), gyr_rad_s, acc_m_s2) == data
    blocks, rejected, _ = decode([RawPacket("a", 0, data)])
    assert not rejected
    assert blocks[0].tick[0] == int(tick)
    assert blocks[0].gyr_rad_s == pytest.approx(gyr_rad_s, abs=np.radians(0.062))
    assert blocks[0].acc_m_s2 == pytest.approx(acc_m_s2, abs=0.0005 * 9.80665)


def test_the_document_names_every_uuid_and_command() -> None:
    for uuid in (profile.SERVICE, profile.MOTION, profile.CONTROL, profile.LAYOUT):
        assert uuid in DOCUMENT
    for opcode in profile.Opcode:
        assert f"`{opcode:02x}`" in DOCUMENT
    for number in ("0x180F", "0x2A19", "0x180A", "0x2A24", "0x2A25", "0x2A26"):
        assert number in DOCUMENT


def test_the_documents_announcements() -> None:
    rows = re.findall(r"^\| `([^`]+)` \| `((?:[0-9a-f]{2} ?)+)` \|$", DOCUMENT, re.M)
    assert [len(serial) > profile.ANNOUNCED_BYTES for serial, _ in rows] == [False, True]
    for serial, data in rows:
        assert profile.announcement(serial) == bytes.fromhex(data.replace(" ", ""))
    assert f"less 2 for length and type and 16 for the UUID are {profile.ANNOUNCED_BYTES}" in DOCUMENT


def test_the_documents_control_vectors() -> None:
    rows = re.findall(r"^\| `([0-9a-f ]+)` \| (START|STOP|SETTINGS|BLINK)\b", DOCUMENT, re.M)
    assert {name for _, name in rows} == {"START", "STOP", "SETTINGS", "BLINK"}
    for data, name in rows:
        command = profile.parse_command(bytes.fromhex(data.replace(" ", "")))
        assert type(command).__name__.upper().removeprefix("SENSOR") == name
