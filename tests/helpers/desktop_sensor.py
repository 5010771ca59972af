"""The firmware's process, spoken to in frames; and as a sensor on the virtual radio."""

from __future__ import annotations

import asyncio
import struct
import subprocess
from collections.abc import Iterator, Sequence
from functools import partial
from pathlib import Path
from types import TracebackType
from typing import Any

from bumble import att, gatt
from bumble.core import UUID
from bumble.device import Connection
from packet_streams import HOUSE

from imufeedback.ble.virtual import VirtualSensor

Frame = tuple[str, bytes]
MOTION, CONTROL, LAYOUT, TEMPERATURE, BATTERY, MODEL, SERIAL, FIRMWARE = range(8)
PART_SILENT, PART_DEAD, RADIO_BUSY, LOOP_LATE, RANGES, CLOCK = range(6)
_CAN = gatt.Characteristic.Properties


class Process:
    """One sensor's process (firmware_notes/ports/frames.h). What it says is returned by what caused it."""

    def __init__(self, *command: str | Path, environment: dict[str, str] | None = None, endless: bool = False) -> None:
        self._endless = endless
        self._process = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, bufsize=0, env=environment
        )

    def __enter__(self) -> Process:
        return self

    def __exit__(self, _kind: type[BaseException] | None, _what: BaseException | None, _at: TracebackType | None):
        self.end()

    def end(self) -> None:
        """The stream ends, and so does the process; an emulator does not by itself."""
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.close()
        if self._endless:
            self._process.kill()
        assert self._process.wait(10) == 0 or self._endless, "the process ended with a fault"
        self._process.stdout.close()

    def ask(self, kind: str, body: bytes = b"") -> list[Frame]:
        assert self._process.stdin is not None
        self._process.stdin.write(kind.encode() + struct.pack("<H", len(body)) + body)
        said = []
        while True:
            head = self._take(3)
            frame = (chr(head[0]), self._take(int.from_bytes(head[1:], "little")))
            if frame[0] == ".":
                return said
            said.append(frame)

    def _take(self, length: int) -> bytes:
        assert self._process.stdout is not None
        data = b""
        while len(data) < length:
            more = self._process.stdout.read(length - len(data))
            assert more, "the process has ended"
            data += more
        return data

    def power_up(self, serial: str = "") -> list[Frame]:
        return self.ask("i", serial.encode())

    def pass_time(self, seconds: float) -> list[Frame]:
        return self.ask("t", struct.pack("<I", round(seconds * 1e6)))

    def packets(self, seconds: float) -> list[bytes]:
        return [body for kind, body in self.pass_time(seconds) if kind == "p"]

    def measure(self, samples: Sequence[Sequence[int]]) -> None:
        """Raw numbers, gyr x y z and acc x y z, that the part measures next."""
        for k in range(0, len(samples), 80):
            self.ask("s", b"".join(struct.pack("<6h", *one) for one in samples[k : k + 80]))

    def read(self, attribute: int) -> tuple[int, bytes]:
        ((_, body),) = (frame for frame in self.ask("r", bytes([attribute])) if frame[0] == "R")
        return body[0], body[1:]

    def write(self, data: str | bytes, attribute: int = CONTROL) -> int:
        """The answer: an error of ATT, or 0."""
        value = bytes.fromhex(data) if isinstance(data, str) else data
        ((_, body),) = (frame for frame in self.ask("w", bytes([attribute]) + value) if frame[0] == "W")
        return body[0]

    def fault(self, what: int, how_much: int) -> None:
        self.ask("x", struct.pack("<BH", what, how_much))


class DesktopSensor(VirtualSensor):
    """The process as a sensor on the virtual radio: all but the radio's lower layers is the firmware's own."""

    def __init__(self, serial: str, process: Process, *, seconds: float = 60.0, step_us: int = 5000) -> None:
        super().__init__(serial, serial, self._played(seconds, step_us), HOUSE)
        self.process = process
        self._rows: list[Frame] = []
        self._advert = self._response = b""
        self.lights: list[int] = []

    def _played(self, seconds: float, step_us: int) -> Iterator[tuple[int, bytes]]:
        for k in range(1, int(seconds * 1e6) // step_us):
            sent = [body for kind, body in self._hear(self.process.pass_time(step_us * 1e-6)) if kind == "p"]
            for packet in sent or [b""]:
                yield k * step_us * 1000, packet

    def obeying(self, payload: bytes) -> Iterator[bytes]:
        if payload:
            yield payload

    def _hear(self, frames: list[Frame]) -> list[Frame]:
        for kind, body in frames:
            if kind == "a":
                length = body[2]
                self._advert, self._response = body[3 : 3 + length], body[3 + length :]
            elif kind == "l":
                self.lights.append(body[0])
        return frames

    @property
    def listening(self) -> bool:
        return self._subscribed and self.connected

    # ── power and link ──

    def _power_up(self) -> None:
        self._rows = [one for one in self._hear(self.process.power_up(self.serial)) if one[0] == "g"]

    async def vanish(self, *, forget: bool, told: bool) -> None:
        await super().vanish(forget=forget, told=told)
        if forget:
            self._power_up()

    def _on_connection(self, connection: Connection) -> None:
        super()._on_connection(connection)
        self._hear(self.process.ask("c"))
        connection.on(Connection.EVENT_CONNECTION_ATT_MTU_UPDATE, partial(self._on_mtu, connection))

    def _on_mtu(self, connection: Connection) -> None:
        self._hear(self.process.ask("m", struct.pack("<H", connection.att_mtu)))

    def _on_disconnection(self, connection: Connection, reason: int) -> None:
        mine = connection is self._connection
        super()._on_disconnection(connection, reason)
        if mine and "a" not in [kind for kind, _ in self._hear(self.process.ask("d"))]:
            assert self._device is not None  # bumble would advertise again by itself
            self._silenced = asyncio.ensure_future(self._device.stop_advertising())

    def _on_subscription(self, _bearer: Any, notify: bool, _indicate: bool) -> None:
        self._subscribed = notify
        self._hear(self.process.ask("n", bytes([notify])))

    # ── the firmware's own table ──

    def _advertisement(self) -> bytes:
        return self._advert

    def _scan_response(self) -> bytes:
        return self._response

    def _services(self) -> list[gatt.Service]:
        self._power_up()
        services: dict[bytes, list[gatt.Characteristic[Any]]] = {}
        for _, row in self._rows:
            service, uuid = row[3 : 3 + row[2]], row[4 + row[2] :]
            characteristic = self._characteristic(row[0], row[1], uuid)
            if row[0] == MOTION:
                self._motion = characteristic
            services.setdefault(service, []).append(characteristic)
        return [gatt.Service(UUID.from_bytes(service), rows) for service, rows in services.items()]

    def _characteristic(self, attribute: int, properties: int, uuid: bytes) -> gatt.Characteristic[Any]:
        can = _CAN(properties)
        allowed = gatt.Characteristic.Permissions(0)
        if can & _CAN.READ:
            allowed |= gatt.Characteristic.READABLE
        if can & _CAN.WRITE:
            allowed |= gatt.Characteristic.WRITEABLE
        value = gatt.CharacteristicValue(
            read=lambda _connection: self._read(attribute),
            write=lambda _connection, data: self._write(attribute, data),
        )
        return gatt.Characteristic(UUID.from_bytes(uuid), can, allowed, value)

    def _read(self, attribute: int) -> bytes:
        answer, value = self.process.read(attribute)
        if answer:
            raise att.ATT_Error(answer)
        return value

    def _write(self, attribute: int, data: bytes) -> None:
        frames = self._hear(self.process.ask("w", bytes([attribute]) + data))
        answer = next(body[0] for kind, body in frames if kind == "W")
        if answer:
            raise att.ATT_Error(answer)
