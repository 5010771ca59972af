"""The GATT profile: UUIDs, and the bytes of control and layout. Specification: firmware_notes/gatt_profile.md.

UUIDs of services and characteristics with 16 bits are the Bluetooth SIG's (Assigned Numbers, sections 3.4 and 3.8); the
128-bit ones are random and belong to this project alone.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from enum import IntEnum
from typing import TypeAlias

SERVICE = "b4531e26-7802-44ce-b5b1-b7e45b3fb580"
MOTION = "b4531e27-7802-44ce-b5b1-b7e45b3fb580"
"""Notify: packets of samples."""
CONTROL = "b4531e28-7802-44ce-b5b1-b7e45b3fb580"
"""Write with response: commands. Read: the settings as they are."""
LAYOUT = "b4531e29-7802-44ce-b5b1-b7e45b3fb580"
"""Read: name and version of the packet layout, UTF-8."""


def sig_uuid(number: int) -> str:
    """A 16-bit UUID in full: Bluetooth Core Specification, Vol 3, Part B, 2.5.1 (Base UUID)."""
    return f"0000{number:04x}-0000-1000-8000-00805f9b34fb"


BATTERY_LEVEL = sig_uuid(0x2A19)
MODEL_NUMBER = sig_uuid(0x2A24)
SERIAL_NUMBER = sig_uuid(0x2A25)
FIRMWARE_REVISION = sig_uuid(0x2A26)
TEMPERATURE = sig_uuid(0x2A6E)
"""Optional: of the inertial part, i16 in hundredths of a degree Celsius (GATT Specification Supplement,
Temperature)."""

LEAST_MTU, MOST_MTU = 23, 517
"""Least ATT MTU (Bluetooth Core Specification, Vol 3, Part G, 5.2.1), and the greatest that carries the longest
attribute value of 512 bytes (Part F, 3.2.9)."""

NOTIFICATION_OVERHEAD = 3
"""Opcode and handle of a notification: Bluetooth Core Specification, Vol 3, Part F, 3.4.7.1."""

ANNOUNCED_BYTES = 13
"""Room for the serial number in a scan response: 31 bytes less length, type and UUID of Service Data - 128-bit UUID
(Bluetooth Core Specification Supplement, Part A, 1.11)."""

UNKNOWN_COMMAND = 0x80
BAD_VALUE = 0x81
"""Application errors, 0x80 to 0x9F: Bluetooth Core Specification, Vol 3, Part F, 3.4.1.1."""


class Opcode(IntEnum):
    """First byte of a control command."""

    START = 0x01
    STOP = 0x02
    SETTINGS = 0x03
    BLINK = 0x04


@dataclass(frozen=True, slots=True)
class Start:
    """Begin to send packets."""


@dataclass(frozen=True, slots=True)
class Stop:
    """End sending packets."""


@dataclass(frozen=True, slots=True)
class SensorSettings:
    """How the sensor measures and packs; back to the factory's at every power-up."""

    rate_hz: int
    samples_per_packet: int


@dataclass(frozen=True, slots=True)
class Blink:
    """Blink for so many seconds, so that a person sees which sensor this is."""

    seconds: int


@dataclass(frozen=True, slots=True)
class Status:
    """What reading the control characteristic tells."""

    streaming: bool
    settings: SensorSettings


ControlCommand: TypeAlias = Start | Stop | SensorSettings | Blink


class BadCommand(ValueError):
    """A command that the sensor answers with an application error `code`."""

    def __init__(self, code: int, what: str) -> None:
        self.code = code
        super().__init__(what)


def command_bytes(command: ControlCommand) -> bytes:
    """A command as it is written to the control characteristic, little endian."""
    match command:
        case Start():
            return bytes([Opcode.START])
        case Stop():
            return bytes([Opcode.STOP])
        case SensorSettings(rate_hz, samples_per_packet):
            return struct.pack("<BHB", Opcode.SETTINGS, rate_hz, samples_per_packet)
        case Blink(seconds):
            return bytes([Opcode.BLINK, seconds])


def parse_command(data: bytes) -> ControlCommand:
    """The command in these bytes. Raises BadCommand for one that is not known, too long or too short."""
    lengths = {Opcode.START: 1, Opcode.STOP: 1, Opcode.SETTINGS: 4, Opcode.BLINK: 2}
    if not data or data[0] not in lengths:
        raise BadCommand(UNKNOWN_COMMAND, f"no command {data[:1].hex() or 'of no bytes'}")
    opcode = Opcode(data[0])
    if len(data) != lengths[opcode]:
        raise BadCommand(BAD_VALUE, f"{opcode.name} has {lengths[opcode]} bytes, not {len(data)}")
    if opcode is Opcode.SETTINGS:
        return _checked(SensorSettings(*struct.unpack_from("<HB", data, 1)))
    if opcode is Opcode.BLINK:
        return Blink(data[1])
    return Start() if opcode is Opcode.START else Stop()


def _checked(settings: SensorSettings) -> SensorSettings:
    if settings.rate_hz == 0 or settings.samples_per_packet == 0:
        raise BadCommand(BAD_VALUE, "rate and samples of a packet must not be 0")
    return settings


def status_bytes(status: Status) -> bytes:
    """What reading the control characteristic gives: u8 streaming, u16 rate in Hz, u8 samples of a packet."""
    return struct.pack("<BHB", status.streaming, status.settings.rate_hz, status.settings.samples_per_packet)


def parse_status(data: bytes) -> Status:
    """The status in these bytes; longer ones come from a later version and are read as far as known.

    Raises ValueError when they are too few.
    """
    if len(data) < 4:
        raise ValueError(f"{len(data)} bytes of status, expected 4")
    streaming, rate_hz, samples = struct.unpack_from("<BHB", data)
    return Status(bool(streaming), SensorSettings(rate_hz, samples))


def announcement(serial: str) -> bytes:
    """Service data of the motion service: the serial number, or as much of its end as fits, in whole letters."""
    return serial.strip().encode()[-ANNOUNCED_BYTES:].decode("utf-8", "ignore").encode()


def announced(data: bytes) -> str:
    """The serial number, or its end, in service data of the motion service; empty when it is no text."""
    try:
        text = data.decode("utf-8").rstrip("\x00").strip()
    except UnicodeDecodeError:
        return ""
    return text if text.isprintable() else ""


def layout_bytes(name: str, version: int) -> bytes:
    """Value of the layout characteristic: ``name/version``."""
    return f"{name}/{version}".encode()
