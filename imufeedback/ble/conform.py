"""Does a sensor keep the profile? Asked over the air, rule by rule, as a client meets them.

For whoever builds a sensor; the profile is firmware_notes/gatt_profile.md. Only ever for a sensor that a person named.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import suppress

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.exc import BleakGATTProtocolError

from imufeedback.ble import profile
from imufeedback.ble.advice import words
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.clock import Clock
from imufeedback.ble.conform_heard import Heard, hear
from imufeedback.ble.conform_packets import Arrived, ProfileFinding, differs, of_stream, ran_on
from imufeedback.ble.limits import TimeLimits, within
from imufeedback.errors import RadioError

HEAR_S = 5.0
AGAIN_S = 3.0
"""For being heard again after a link has ended; a second is what a builder should reach."""
STREAM_S, QUIET_S, PAUSE_S, GRACE_S = 3.0, 1.0, 1.5, 0.3
"""Of streaming that is judged; of listening for what must not come; of a stop; for what was on its way."""
RATE_HZ, SAMPLES = 200, 4
SHORT = profile.LEAST_MTU - profile.NOTIFICATION_OVERHEAD
"""Length of packets that a link with the least MTU has cut, or that were made for it."""
_BATTERY, _INFORMATION = profile.sig_uuid(0x180F), profile.sig_uuid(0x180A)
_TABLE = (
    ("motion", profile.SERVICE, profile.MOTION, ("notify",)),
    ("control", profile.SERVICE, profile.CONTROL, ("read", "write")),
    ("layout", profile.SERVICE, profile.LAYOUT, ("read",)),
    ("battery level", _BATTERY, profile.BATTERY_LEVEL, ("read",)),
    ("model", _INFORMATION, profile.MODEL_NUMBER, ("read",)),
    ("serial number", _INFORMATION, profile.SERIAL_NUMBER, ("read",)),
    ("firmware", _INFORMATION, profile.FIRMWARE_REVISION, ("read",)),
)
_REFUSED = (
    ("7f", profile.UNKNOWN_COMMAND, "a command that is not known"),
    ("00", profile.UNKNOWN_COMMAND, "command 00"),
    ("0100", profile.BAD_VALUE, "START with a byte too many"),
    ("0200", profile.BAD_VALUE, "STOP with a byte too many"),
    ("03c800", profile.BAD_VALUE, "SETTINGS with a byte too few"),
    ("03c8000400", profile.BAD_VALUE, "SETTINGS with a byte too many"),
    ("03000004", profile.BAD_VALUE, "SETTINGS with a rate of 0"),
    ("03c80000", profile.BAD_VALUE, "SETTINGS with no samples"),
    ("04", profile.BAD_VALUE, "BLINK without seconds"),
)
_START, _STOP = (profile.command_bytes(one) for one in (profile.Start(), profile.Stop()))


class Silent(Exception):
    """No answer that the rest could be judged by; the finding is told already."""


async def conform(
    text: str,
    *,
    backends: Backends,
    limits: TimeLimits,
    clock: Clock,
    pass_time: Callable[[float], Awaitable[None]],
) -> AsyncIterator[ProfileFinding]:
    """Every rule of the profile about the sensor of this address, serial number or name, in the order of a client.

    `pass_time` lets seconds go by. Raises RadioError when no such sensor is heard.
    """
    heard = await hear(text, backends, HEAR_S)
    if heard is None:
        raise RadioError(f"{text} was not heard", where="sensors conform", hint="switch it on, and bring it close")
    bench = _Bench(backends, limits, clock, pass_time, heard)
    try:
        async for one in bench.judge():
            yield one
    except Silent as why:
        yield ProfileFinding("all that follows", f"cannot be judged: {why}")
    except FAILURES as error:
        yield ProfileFinding("the link", f"{words(error)}: what follows cannot be judged")
    finally:
        await bench.leave()


class _Bench:
    """One sensor on the bench."""

    def __init__(
        self,
        backends: Backends,
        limits: TimeLimits,
        clock: Clock,
        pass_time: Callable[[float], Awaitable[None]],
        heard: Heard,
    ) -> None:
        self._backends, self._limits, self._clock, self._pass_time = backends, limits, clock, pass_time
        self._heard = heard
        self._client: BleakClient | None = None
        self._arrived: list[Arrived] = []
        self._samples = SAMPLES

    async def judge(self) -> AsyncIterator[ProfileFinding]:
        yield self._of_service()
        yield ProfileFinding("advertising: a local name", "" if self._heard.name else "none is heard")
        await self._connect()
        for one in self._of_table():
            yield one
        serial = b""
        async for one, value in self._of_values():
            serial = value if one.rule.startswith("serial number") else serial
            yield one
        yield self._of_announcement(serial)
        yield await self._of_status("status: 4 bytes, not streaming after connecting", b"\x00", length=1)
        yield await self._of_silence("nothing is sent before START, although notifications are on")
        async for one in self._of_refusals():
            yield one
        async for one in self._of_streaming():
            yield one
        async for one in self._of_a_pause():
            yield one
        async for one in self._of_a_new_link(serial):
            yield one

    # ── what is asked of it ──

    @property
    def _open(self) -> BleakClient:
        if self._client is None:
            raise Silent("there is no link")
        return self._client

    async def _connect(self) -> None:
        client = BleakClient(self._heard.device, timeout=self._limits.connect_s, backend=self._backends.client)
        self._client = client
        await within(self._limits.connect_s, client.connect())

    async def leave(self) -> None:
        client, self._client = self._client, None
        if client is not None:
            with suppress(*FAILURES):
                await within(self._limits.disconnect_s, client.disconnect())

    async def _read(self, uuid: str) -> bytes:
        if self._open.services.get_characteristic(uuid) is None:
            raise Silent(f"there is no characteristic {uuid}")
        return bytes(await within(self._limits.request_s, self._open.read_gatt_char(uuid)))

    async def _write(self, data: bytes) -> int:
        """The sensor's answer: an error's number, or 0."""
        try:
            await within(self._limits.request_s, self._open.write_gatt_char(profile.CONTROL, data, response=True))
        except BleakGATTProtocolError as error:
            return int(error.args[0])
        return 0

    async def _subscribe(self) -> None:
        def on_packet(_characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
            self._arrived.append((self._clock.now_ns(), bytes(data)))

        if self._open.services.get_characteristic(profile.MOTION) is None:
            raise Silent("there is no motion characteristic")
        await within(self._limits.request_s, self._open.start_notify(profile.MOTION, on_packet))

    async def _listen(self, seconds: float) -> list[Arrived]:
        """What comes from now on."""
        self._arrived.clear()
        await self._pass_time(seconds)
        return list(self._arrived)

    # ── the rules ──

    def _of_service(self) -> ProfileFinding:
        rule, heard = "advertising: the complete list of services holds the motion service", self._heard.services
        return ProfileFinding(rule, "" if profile.SERVICE in heard else f"heard: {', '.join(sorted(heard)) or 'none'}")

    def _of_announcement(self, serial: bytes) -> ProfileFinding:
        rule = "scan response: service data announce the serial number, or its last 13 bytes"
        if self._heard.announced is None:
            return ProfileFinding(
                rule, note="left out, as a sensor with changing addresses does: its reader asks the person"
            )
        return ProfileFinding(
            rule, differs(self._heard.announced, profile.announcement(serial.decode("utf-8", "replace")))
        )

    def _of_table(self) -> list[ProfileFinding]:
        found = []
        for name, service, uuid, can in _TABLE:
            one = self._open.services.get_characteristic(uuid)
            rule = f"table: {name} ({uuid[4:8] if service != profile.SERVICE else uuid[:8]}) with {' and '.join(can)}"
            if one is None:
                found.append(ProfileFinding(rule, f"no characteristic {uuid}"))
                continue
            lacking = [each for each in can if each not in one.properties]
            wrong = f"lacks {', '.join(lacking)}; it has {', '.join(one.properties) or 'nothing'}" if lacking else ""
            if one.service_uuid != service:
                wrong = f"stands in service {one.service_uuid}, expected {service}"
            found.append(ProfileFinding(rule, wrong))
        return found

    async def _of_values(self) -> AsyncIterator[tuple[ProfileFinding, bytes]]:
        layout = await self._read(profile.LAYOUT)
        yield ProfileFinding("layout: names the packet", differs(layout, profile.layout_bytes("house", 1))), layout
        battery = await self._read(profile.BATTERY_LEVEL)
        wrong = "" if len(battery) == 1 and battery[0] <= 100 else f"{battery.hex(' ') or 'nothing'}, expected 00 to 64"
        yield ProfileFinding("battery level: one byte, percent", wrong), battery
        texts = {"model": profile.MODEL_NUMBER, "firmware": profile.FIRMWARE_REVISION}
        for name, uuid in (texts | {"serial number": profile.SERIAL_NUMBER}).items():
            value = await self._read(uuid)
            wrong = _wrong_text(value)
            if not wrong and await self._read(uuid) != value:
                wrong = "read twice, it is another one"
            yield ProfileFinding(f"{name}: UTF-8, not empty, the same each time", wrong), value
        if self._open.services.get_characteristic(profile.TEMPERATURE) is not None:
            value = await self._read(profile.TEMPERATURE)
            degrees = int.from_bytes(value, "little", signed=True) / 100
            wrong = "" if len(value) == 2 and -40 <= degrees <= 85 else f"{value.hex(' ')}: {degrees:.2f} °C"
            yield ProfileFinding("temperature: two bytes, hundredths of a degree Celsius", wrong), value

    async def _of_status(self, rule: str, expected: bytes, *, length: int = 4) -> ProfileFinding:
        """The first `length` bytes of the status must be these; longer ones come from a later version."""
        data = await self._read(profile.CONTROL)
        if len(data) < 4:
            return ProfileFinding(rule, f"{len(data)} bytes, expected 4: {data.hex(' ') or 'nothing'}")
        return ProfileFinding(rule, differs(data[:length], expected[:length]))

    async def _of_silence(self, rule: str) -> ProfileFinding:
        await self._subscribe()
        came = await self._listen(QUIET_S)
        return ProfileFinding(rule, f"{len(came)} packets came, the first: {came[0][1].hex(' ')}" if came else "")

    async def _of_refusals(self) -> AsyncIterator[ProfileFinding]:
        for data, code, what in _REFUSED:
            before = await self._read(profile.CONTROL)
            answer = await self._write(bytes.fromhex(data))
            wrong = "" if answer == code else f"answered with {answer:02x}"
            if await self._read(profile.CONTROL) != before:
                wrong = ", ".join(filter(None, (wrong, "the status has changed")))
            yield ProfileFinding(
                f"{what} ({bytes.fromhex(data).hex(' ')}) is refused with {code:02x}, nothing changes", wrong
            )

    async def _set(self, samples: int) -> AsyncIterator[ProfileFinding]:
        settings = profile.SensorSettings(RATE_HZ, samples)
        data = profile.command_bytes(settings)
        answer = await self._write(data)
        yield ProfileFinding(
            f"SETTINGS of {RATE_HZ} Hz and {samples} samples a packet ({data.hex(' ')}) are taken",
            f"answered with {answer:02x}" if answer else "",
        )

    async def _of_streaming(self) -> AsyncIterator[ProfileFinding]:
        async for one in self._set(self._samples):
            yield one
        kept = profile.SensorSettings(RATE_HZ, self._samples)
        yield await self._of_status("status: tells what was set", profile.status_bytes(profile.Status(False, kept)))
        answer = await self._write(_START)
        yield ProfileFinding("START (01) is taken", f"answered with {answer:02x}" if answer else "")
        if any(len(data) == SHORT for _, data in await self._listen(GRACE_S)):
            # What a system says of the MTU may be wrong: that packets come no longer than this shows it.
            self._samples = 1
            async for one in self._set(1):
                yield one
            kept = profile.SensorSettings(RATE_HZ, 1)
        yield await self._of_status("status: tells that it streams", profile.status_bytes(profile.Status(True, kept)))
        for one in of_stream(await self._listen(STREAM_S), RATE_HZ, self._samples):
            yield one
        before = list(self._arrived)
        fewer = max(1, self._samples // 2)
        async for one in self._set(fewer):
            yield one
        await self._listen(GRACE_S)
        came = await self._listen(QUIET_S)
        counts = sorted({data[1] for _, data in came if len(data) > 1})
        wrong = "" if counts == [fewer] else f"byte 1 is {', '.join(f'{n:02x}' for n in counts) or 'never there'}"
        yield ProfileFinding(f"SETTINGS take effect at once: {fewer} samples a packet", wrong)
        if before and came:
            tick, _ = ran_on(before[-1], came[0], self._samples / RATE_HZ)
            yield ProfileFinding("SETTINGS do not set the tick back", tick)
        answer = await self._write(profile.command_bytes(profile.Blink(1)))
        yield ProfileFinding("BLINK (04 01) is taken", f"answered with {answer:02x}" if answer else "")
        async for one in self._set(self._samples):
            yield one

    async def _of_a_pause(self) -> AsyncIterator[ProfileFinding]:
        before = await self._listen(GRACE_S)
        answer = await self._write(_STOP)
        yield ProfileFinding("STOP (02) is taken", f"answered with {answer:02x}" if answer else "")
        yield await self._of_status("status: tells that it has stopped", b"\x00", length=1)
        await self._listen(GRACE_S)
        came = await self._listen(PAUSE_S)
        yield ProfileFinding("nothing is sent after STOP", f"{len(came)} packets came" if came else "")
        await self._write(_START)
        after = await self._listen(QUIET_S)
        for one in self._of_running_on("STOP and START", before, after):
            yield one

    def _of_running_on(self, what: str, before: list[Arrived], after: list[Arrived]) -> list[ProfileFinding]:
        rules = (f"the tick runs on over {what}", f"the packets' number runs on over {what}")
        if not before or not after:
            return [ProfileFinding(rule, "no packets came to judge it by") for rule in rules]
        wrong = ran_on(before[-1], after[0], self._samples / RATE_HZ)
        return [ProfileFinding(rule, one) for rule, one in zip(rules, wrong, strict=True)]

    async def _of_a_new_link(self, serial: bytes) -> AsyncIterator[ProfileFinding]:
        """It streams while the link ends."""
        before = await self._listen(GRACE_S)
        await self.leave()
        await self._pass_time(GRACE_S)
        heard = await hear(self._heard.device.address, self._backends, AGAIN_S)
        yield ProfileFinding(
            "it advertises again when the link has ended", "" if heard else f"not heard within {AGAIN_S:g} s"
        )
        if heard is None:
            raise Silent("it is not heard again")
        self._heard = heard
        await self._connect()
        kept = profile.SensorSettings(RATE_HZ, self._samples)
        status = profile.status_bytes(profile.Status(False, kept))
        yield await self._of_status("status: the end of a link stops it", b"\x00", length=1)
        yield await self._of_status("status: settings outlast a link, until the power goes", status)
        yield await self._of_silence("nothing is sent on a new link before START")
        wrong = differs(await self._read(profile.SERIAL_NUMBER), serial)
        yield ProfileFinding("the serial number is the same on a new link", wrong)
        await self._write(profile.command_bytes(kept))
        await self._write(_START)
        after = await self._listen(QUIET_S)
        for one in self._of_running_on("a new link", before, after):
            yield one
        await self._write(_STOP)


def _wrong_text(value: bytes) -> str:
    if not value:
        return "it is empty"
    try:
        text = value.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"byte {error.start} is {value[error.start]:02x}, no UTF-8: {value.hex(' ')}"
    for k, letter in enumerate(text):
        if not letter.isprintable():
            return f"byte {len(text[:k].encode())} is {letter.encode().hex(' ')}, which cannot be printed"
    return ""
