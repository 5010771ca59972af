"""The link to one sensor: connect, set up, stream, notice trouble, and connect again by the same way.

One object serves one sensor, and every callback is bound to it: the characteristic that bleak hands to a callback is
the same for two equal sensors. What comes out, through `on_item`, is a `RawPacket` for every notification and a
`LinkNote` for every change.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Coroutine, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any, TypeVar

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from imufeedback.ble import profile
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.clock import Clock
from imufeedback.ble.scan import Found
from imufeedback.errors import RadioError
from imufeedback.packets import Layout
from imufeedback.records import Json, LinkNote, LinkState, RawPacket

T = TypeVar("T")

_FACTS = {
    "serial": profile.SERIAL_NUMBER,
    "firmware": profile.FIRMWARE_REVISION,
    "model": profile.MODEL_NUMBER,
}


@dataclass(frozen=True, slots=True)
class Limits:
    """How long things may take, in seconds."""

    connect_s: float = 15.0
    request_s: float = 5.0
    """One read, write or subscription. (The protocol's own limit is 30 s: far too long to stand and wait.)"""
    close_s: float = 3.0
    silence_s: float = 0.9
    """Without data for longer the link counts as dead: with the watch's step this is noticed within 1 s."""
    watch_s: float = 0.1
    backoff_s: tuple[float, ...] = (0.25, 0.5, 1.0, 2.0, 4.0, 8.0)
    """Pauses between attempts; the last one repeats."""
    first_tries: int = 3
    """Attempts at the first connection, before a person is told that it failed. Later ones go on until closed."""


class WrongSensor(RadioError):
    """What answers is not the sensor, or not the packets, that this link is for: trying again cannot help."""


class SensorLink:
    """Streams from one sensor. Methods are for the event loop that they are first called in.

    `on_item` is called from that loop, and must do no more than hand over. `on_fault` is told of an error in the link's
    own tasks that nobody waits for.
    """

    def __init__(
        self,
        found: Found,
        layout: Layout,
        clock: Clock,
        on_item: Callable[[RawPacket | LinkNote], None],
        *,
        backends: Backends | None = None,
        limits: Limits | None = None,
        on_fault: Callable[[BaseException], None] | None = None,
    ) -> None:
        if layout.gatt is None:
            raise RadioError(f"layout {layout.name} has no [gatt]", hint="give it the UUIDs of the sensor's service")
        self._found = found
        self._layout = layout
        self._gatt = layout.gatt
        self._clock = clock
        self._on_item = on_item
        self._on_fault = on_fault
        self._backend = (backends or Backends()).client
        self._limits = limits or Limits()
        self._client: BleakClient | None = None
        self._connection = 0
        """Number of the present connection: what belongs to an earlier one is not listened to any more."""
        self._serial: str | None = None
        self._streaming = False
        self._last_ns = 0
        self._trouble = asyncio.Event()
        self._tasks: list[asyncio.Task[None]] = []

    @property
    def sensor(self) -> str:
        """The sensor's serial number; its address as long as the serial is not read."""
        return self._serial or self._found.address

    @property
    def streaming(self) -> bool:
        return self._streaming

    # ── what others call ──

    async def open(self) -> None:
        """Connect, read, subscribe, send the settings; nothing streams yet. Raises RadioError."""
        await self._bring_up(begin=False, tries=self._limits.first_tries)

    async def start(self) -> None:
        """Let the sensor send, and from now on keep it sending. Raises RadioError."""
        if self._client is not None and self._client.is_connected:
            try:
                await self._begin(self._client)
            except FAILURES as error:
                raise self._error(error) from error
        else:
            await self._bring_up(begin=True, tries=self._limits.first_tries)
        self._tasks = [self._spawn(self._supervise()), self._spawn(self._watch())]

    async def blink(self, seconds: int) -> None:
        """Let the sensor show which one it is. Raises RadioError."""
        if self._client is None:
            raise RadioError("not connected", where=f"sensor {self.sensor}", hint="open the link first")
        try:
            await self._command(self._client, profile.Blink(seconds))
        except FAILURES as error:
            raise self._error(error) from error

    async def close(self) -> None:
        """Stop the sensor and disconnect; takes a bounded time and does not fail."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._tasks = []
        detail = ""
        if self._streaming and self._client is not None:
            self._streaming = False
            try:
                await self._command(self._client, profile.Stop())
            except FAILURES as error:
                detail = f"stopped without an answer: {_words(error)}"
        await self._tear_down()
        self._note(LinkState.CLOSED, detail)

    # ── the one way to a streaming sensor ──

    async def _bring_up(self, *, begin: bool, tries: int | None) -> None:
        """Set up, and begin, in as many attempts as it takes or as are allowed; the first at once."""
        attempt = 0
        while True:
            try:
                client = await self._set_up()
                if begin:
                    await self._begin(client)
                return
            except WrongSensor:
                await self._tear_down()
                raise
            except FAILURES as error:
                attempt += 1
                if tries is not None and attempt >= tries:
                    await self._tear_down()
                    raise self._error(error) from error
                self._note(LinkState.SEARCHING, _words(error))
                pauses = self._limits.backoff_s
                await self._clock.sleep(pauses[min(attempt, len(pauses)) - 1])

    async def _set_up(self) -> BleakClient:
        # The old subscription must be gone before a new one is made, or every packet may come twice.
        await self._tear_down()
        self._note(LinkState.CONNECTING)
        connection = self._connection
        client = BleakClient(
            self._found.device,
            disconnected_callback=partial(self._on_drop, connection),
            timeout=self._limits.connect_s,
            backend=self._backend,
        )
        self._client = client
        await self._within(client.connect(), self._limits.connect_s)
        facts = await self._read_facts(client)
        self._check_identity(facts)
        self._check_layout(facts)
        await self._request(client.start_notify(self._gatt.notify, partial(self._on_motion, connection)))
        await self._configure(client, facts)
        self._note(LinkState.CONNECTED, facts=facts)
        return client

    async def _begin(self, client: BleakClient) -> None:
        self._last_ns = self._clock.now_ns()
        # Said before the command: the first packet may be here before the command's answer.
        self._note(LinkState.STREAMING)
        await self._command(client, profile.Start())
        self._streaming = True

    async def _tear_down(self) -> None:
        self._connection += 1
        client, self._client = self._client, None
        if client is None:
            return
        try:
            await self._within(client.disconnect(), self._limits.close_s)
        except FAILURES as error:
            self._note(LinkState.LOST, f"the old link did not close: {_words(error)}")

    # ── steps ──

    async def _read_facts(self, client: BleakClient) -> dict[str, Json]:
        facts: dict[str, Json] = {"name": self._found.name, "address": self._found.address}
        for fact, uuid in _FACTS.items():
            data = await self._read(client, uuid)
            if data is not None:
                facts[fact] = _text(data)
        battery = await self._read(client, profile.BATTERY_LEVEL)
        if battery:
            facts["battery_percent"] = battery[0]
        if self._gatt.layout is not None:
            layout = await self._read(client, self._gatt.layout)
            facts["layout"] = None if layout is None else _text(layout)
        facts["mtu"] = self._mtu(client)
        return facts

    async def _read(self, client: BleakClient, uuid: str) -> bytes | None:
        """A characteristic's value; None when the sensor has none of that kind."""
        characteristic = client.services.get_characteristic(uuid)
        return None if characteristic is None else bytes(await self._request(client.read_gatt_char(characteristic)))

    def _mtu(self, client: BleakClient) -> int:
        # Not `client.mtu_size`: one system says 23 there whatever was agreed.
        characteristic = client.services.get_characteristic(self._gatt.notify)
        if characteristic is None:
            raise WrongSensor(
                f"no characteristic {self._gatt.notify}",
                where=f"sensor {self.sensor}",
                hint=f"choose the layout of this sensor; {self._layout.name} is not it",
            )
        return characteristic.max_write_without_response_size + profile.NOTIFICATION_OVERHEAD

    def _check_identity(self, facts: Mapping[str, Json]) -> None:
        serial = str(facts.get("serial") or self._found.address)
        if self._serial is not None and serial != self._serial:
            raise WrongSensor(
                f"another sensor ({serial}) answers at {self._found.address}",
                where=f"sensor {self._serial}",
                hint="scan again",
            )
        self._serial = serial

    def _check_layout(self, facts: Mapping[str, Json]) -> None:
        version = self._layout.version
        expected = f"{self._layout.name}/{version.value if version else 0}"
        if "layout" in facts and facts["layout"] != expected:
            raise WrongSensor(
                f"sends packets of layout {facts['layout']}, expected {expected}",
                where=f"sensor {self.sensor}",
                hint="update the sensor, or choose its layout",
            )

    async def _configure(self, client: BleakClient, facts: dict[str, Json]) -> None:
        """Send the settings and read them back: a sensor returns to its factory's at every power-up."""
        if self._gatt.control is None:
            return
        wanted = self._settings(int(facts["mtu"]))
        await self._command(client, wanted)
        data = await self._read(client, self._gatt.control)
        try:
            kept: object = profile.parse_status(data or b"").settings
        except ValueError as error:
            kept = f"unreadable settings ({error})"
        if kept != wanted:
            raise WrongSensor(
                f"keeps {kept}, asked for {wanted}", where=f"sensor {self.sensor}", hint="update the sensor"
            )
        facts |= {"rate_hz": wanted.rate_hz, "samples_per_packet": wanted.samples_per_packet}

    def _settings(self, mtu: int) -> profile.Settings:
        room = self._layout.max_samples(mtu - profile.NOTIFICATION_OVERHEAD)
        if room < 1:
            raise WrongSensor(
                f"an MTU of {mtu} holds no sample of layout {self._layout.name}",
                where=f"sensor {self.sensor}",
                hint="use another Bluetooth adapter",
            )
        return profile.Settings(round(self._layout.rate_hz), min(room, self._layout.samples_per_packet))

    async def _command(self, client: BleakClient, command: profile.ControlCommand) -> None:
        if self._gatt.control is not None:
            data = profile.command_bytes(command)
            await self._request(client.write_gatt_char(self._gatt.control, data, response=True))

    async def _request(self, work: Coroutine[Any, Any, T]) -> T:
        return await self._within(work, self._limits.request_s)

    @staticmethod
    async def _within(work: Coroutine[Any, Any, T], seconds: float) -> T:
        async with asyncio.timeout(seconds):
            return await work

    # ── callbacks of bleak: stamp, hand over, return ──

    def _on_motion(self, connection: int, _characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
        host_ns = self._clock.now_ns()
        if connection != self._connection:
            return
        self._last_ns = host_ns
        self._on_item(RawPacket(self.sensor, host_ns, bytes(data)))

    def _on_drop(self, connection: int, _client: BleakClient) -> None:
        if connection == self._connection:
            self._fail(LinkState.LOST, "the link broke")

    # ── trouble ──

    def _fail(self, state: LinkState, detail: str) -> None:
        if self._streaming:
            self._streaming = False
            self._note(state, detail)
            self._trouble.set()

    async def _watch(self) -> None:
        """A link can be up and dead: only data prove that it works."""
        while True:
            await self._clock.sleep(self._limits.watch_s)
            silent_s = (self._clock.now_ns() - self._last_ns) * 1e-9
            if silent_s > self._limits.silence_s:
                self._fail(LinkState.SILENT, f"no data for {silent_s:.1f} s")

    async def _supervise(self) -> None:
        while True:
            await self._trouble.wait()
            self._trouble.clear()
            try:
                await self._bring_up(begin=True, tries=None)
            except WrongSensor as error:
                self._note(LinkState.LOST, str(error))

    def _spawn(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        task = asyncio.get_running_loop().create_task(work, name=f"link {self.sensor}")
        task.add_done_callback(self._on_end)
        return task

    def _on_end(self, task: asyncio.Task[None]) -> None:
        error = None if task.cancelled() else task.exception()
        if error is None:
            return
        self._streaming = False
        self._note(LinkState.LOST, f"the link itself failed: {_words(error)}")
        if self._on_fault is not None:
            self._on_fault(error)

    def _note(self, state: LinkState, detail: str = "", facts: Mapping[str, Json] | None = None) -> None:
        self._on_item(LinkNote(self.sensor, self._clock.now_ns(), state, detail, facts or {}))

    def _error(self, error: BaseException) -> RadioError:
        return RadioError(
            f"cannot be reached: {_words(error)}",
            where=f"sensor {self.sensor}",
            hint="charge it, bring it closer, and close other programs that use it",
        )


def _words(error: BaseException) -> str:
    return str(error) or ("no answer in time" if isinstance(error, TimeoutError) else type(error).__name__)


def _text(data: bytes) -> str:
    """Text of a characteristic; some firmware pads it with zeros."""
    return data.decode("utf-8", "replace").rstrip("\x00").strip()
