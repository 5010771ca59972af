"""The link to one sensor: connect, set up, stream, notice trouble, and connect again by the same way.

One object serves one sensor, and every callback is bound to it: the characteristic that bleak hands to a callback is
the same for two equal sensors. What comes out, through `on_item`, is a `RawPacket` for every notification and a
`LinkNote` for every change.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Coroutine, Mapping
from functools import partial
from typing import Any

from bleak import BleakClient
from bleak.backends.characteristic import BleakGATTCharacteristic

from imufeedback.ble import profile
from imufeedback.ble.advice import BUSY_ANYWHERE, ELSE, NOT_HEARD, advice, is_about_the_adapter, is_forgotten, words
from imufeedback.ble.backends import FAILURES, Backends
from imufeedback.ble.clock import Clock
from imufeedback.ble.handshake import Handshake, WrongSensor
from imufeedback.ble.limits import TimeLimits, end, within
from imufeedback.ble.roster import key
from imufeedback.ble.scan import HeardSensor
from imufeedback.errors import RadioError
from imufeedback.packets import Layout
from imufeedback.records import Json, LinkNote, LinkState, RawPacket

LOOK_AFTER = (1, 2, 4, 8, 16)
"""Failed attempts after which a sensor is looked for under another address: a scan costs the others packets, so seldom.
"""


class SensorLink:
    """Streams from one sensor. All methods belong to one event loop.

    `on_item` is called from that loop, and must do no more than hand over. `on_fault` is told of an error in the link's
    own tasks that nobody waits for. Links that share an adapter share `connecting`: adapters refuse a second attempt
    beside a first.
    """

    def __init__(
        self,
        found: HeardSensor,
        layout: Layout,
        clock: Clock,
        on_item: Callable[[RawPacket | LinkNote], None],
        *,
        backends: Backends | None = None,
        limits: TimeLimits | None = None,
        connecting: asyncio.Lock | None = None,
        on_fault: Callable[[BaseException], None] | None = None,
        serial: str | None = None,
        look: Callable[[str, str], Awaitable[HeardSensor | None]] | None = None,
    ) -> None:
        """With `serial` another sensor than that one is let go of before anything is written to it. `look` finds the
        sensor of a serial number under whatever address it has now; the address that it had is told too."""
        if layout.gatt is None:
            raise RadioError(f"layout {layout.name} has no [gatt]", hint="give it the UUIDs of the sensor's service")
        self._found = found
        self._layout = layout
        self._gatt = layout.gatt
        self._clock = clock
        self._on_item = on_item
        self._on_fault = on_fault
        self._backend = (backends or Backends()).client
        self._limits = limits or TimeLimits()
        self._connecting = connecting or asyncio.Lock()
        self._client: BleakClient | None = None
        self._connection = 0
        """Number of the present connection: what belongs to an earlier one is not listened to any more."""
        self._serial = serial
        self._look = look
        self._full_bytes = 0
        """Length of a full packet, as long as it is not known whether one fits into the MTU; else 0."""
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

    async def open(self, tries: int | None = None) -> None:
        """Connect, read, subscribe, send the settings; nothing streams yet. Raises RadioError."""
        await self._bring_up(begin=False, tries=tries or self._limits.first_tries)

    async def start(self) -> None:
        """Let the sensor send, and from now on keep it sending. Raises RadioError."""
        if self._client is not None and self._client.is_connected:
            try:
                await self._begin(self._client)
            except FAILURES as error:
                raise self._error(error) from error
        else:
            await self._bring_up(begin=True, tries=self._limits.first_tries)
        self._tasks += [self._spawn(work) for work in (self._supervise(), self._watch(), self._read_vitals())]

    async def blink(self, seconds: int) -> None:
        """Let the sensor show which one it is. Raises RadioError."""
        if self._client is None:
            raise RadioError("not connected", where=f"sensor {self.sensor}", hint="open the link first")
        try:
            await self._talk(self._client).command(profile.Blink(seconds))
        except FAILURES as error:
            raise self._error(error) from error

    async def close(self) -> None:
        """Stop the sensor and disconnect; takes a bounded time and does not fail."""
        tasks, self._tasks = self._tasks, []
        await end(tasks, self._limits.close_s / 2)
        detail = ""
        if self._streaming and self._client is not None:
            self._streaming = False
            try:
                await within(self._limits.close_s / 2, self._talk(self._client).command(profile.Stop()))
            except FAILURES as error:
                detail = f"stopped without an answer: {words(error)}"
        trouble = await self._let_go()
        self._note(LinkState.CLOSED, "; ".join(filter(None, (detail, trouble))))

    # ── the one way to a streaming sensor ──

    async def _bring_up(self, *, begin: bool, tries: int | None) -> None:
        """Set up, and begin, in as many attempts as it takes or as are allowed; the first at once."""
        attempt, why = 0, None
        while True:
            try:
                limit_s = self._limits.connect_s if tries else self._limits.reconnect_s + attempt
                client = await self._set_up(min(limit_s, self._limits.connect_s))
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
                await self._let_go()  # now: a service that was started again does not answer for what it does not know
                # what Bluetooth that is away answers to an attempt differs: whether it is back, a scan tells
                look = tries is None and (why is not None or _may_be_elsewhere(error, attempt))
                why = await self._look_anew() if look else None
                if is_about_the_adapter(why or error):
                    attempt = 0  # the sensor has not been asked
                await self._clock.sleep(self._tell_and_wait_s(why or error, attempt))

    def _tell_and_wait_s(self, error: BaseException, attempt: int) -> float:
        """Tell why an attempt was in vain, and what to try; how long to wait before the next."""
        tell = words(error)
        if is_about_the_adapter(error):
            self._note(LinkState.SEARCHING, f"{tell}; {advice(error)}")
            return self._limits.adapter_s
        if attempt >= self._limits.advise_after:
            tell = f"{tell}; {NOT_HEARD if is_forgotten(error) else BUSY_ANYWHERE}"
        self._note(LinkState.SEARCHING, tell)
        pauses = self._limits.backoff_s
        return pauses[min(attempt, len(pauses)) - 1]

    async def _look_anew(self) -> BaseException | None:
        """It may have another address now: some sensors take a new one at every power-up. And a system whose Bluetooth
        was away knows no sensor before it has heard it. Returns what the radio itself suffers from."""
        if self._look is None or self._serial is None:
            return None
        try:
            async with self._connecting:
                found = await self._look(self._serial, self._found.address)
        except RadioError as error:
            return error.__cause__
        if found is not None and found.address != self._found.address:
            self._note(LinkState.SEARCHING, f"it is heard under another address now: {found.address}")
        self._found = found or self._found
        return None

    async def _set_up(self, connect_s: float) -> BleakClient:
        # The old subscription must be gone before a new one is made, or every packet may come twice.
        await self._tear_down()
        self._note(LinkState.CONNECTING)
        connection = self._connection
        client = BleakClient(
            self._found.device,
            disconnected_callback=partial(self._on_drop, connection),
            timeout=connect_s,
            backend=self._backend,
        )
        self._client = client
        async with self._connecting:
            await within(connect_s, client.connect())
        talk = self._talk(client)
        facts = {"name": self._found.name, "address": self._found.address} | await talk.facts()
        self._check_identity(facts)
        talk.check_layout(facts)
        on_motion = partial(self._on_motion, connection)
        await within(self._limits.request_s, client.start_notify(self._gatt.notify, on_motion))
        mtu = facts["mtu"]
        assert isinstance(mtu, int)
        facts |= await talk.configure(mtu)
        unsure = mtu <= profile.LEAST_MTU
        self._full_bytes = self._layout.packet_bytes(self._layout.samples_per_packet) if unsure else 0
        self._note(LinkState.CONNECTED, facts=facts)
        return client

    async def _begin(self, client: BleakClient) -> None:
        self._last_ns = self._clock.now_ns()
        # Said before the command: the first packet may be here before the command's answer.
        self._note(LinkState.STREAMING)
        await self._talk(client).command(profile.Start())
        self._streaming = True

    async def _tear_down(self) -> None:
        trouble = await self._let_go()
        if trouble:
            self._note(LinkState.LOST, trouble)

    async def _let_go(self) -> str:
        """Wait until the system has ended the link; what went wrong, or nothing."""
        self._connection += 1
        client, self._client = self._client, None
        if client is None:
            return ""
        try:
            await within(self._limits.disconnect_s, client.disconnect())
        except FAILURES as error:
            return f"the old link did not close: {words(error)}"
        return ""

    async def _shrink(self, client: BleakClient) -> None:
        """Packets come cut: the MTU is as small as it was said to be."""
        try:
            facts = await self._talk(client).shrink()
        except WrongSensor as error:
            self._streaming = False
            self._note(LinkState.LOST, str(error))
            return
        except FAILURES as error:
            self._fail(LinkState.LOST, f"packets come cut, and it takes no other settings: {words(error)}")
            return
        self._note(LinkState.STREAMING, "the radio carries short packets only", facts)

    def _talk(self, client: BleakClient) -> Handshake:
        return Handshake(client, self._layout, self._gatt, self._limits.request_s, f"sensor {self.sensor}")

    def _check_identity(self, facts: Mapping[str, Json]) -> None:
        serial = str(facts.get("serial") or self._found.address)
        if self._serial is not None and key(serial) != key(self._serial):
            raise WrongSensor(
                f"another sensor ({serial}) answers at {self._found.address}",
                where=f"sensor {self._serial}",
                hint="scan again",
            )
        self._serial = self._serial or serial

    # ── callbacks of bleak: stamp, hand over, return ──

    def _on_motion(self, connection: int, _characteristic: BleakGATTCharacteristic, data: bytearray) -> None:
        host_ns = self._clock.now_ns()
        if connection != self._connection:
            return
        self._last_ns = host_ns
        if self._full_bytes:
            self._measure(len(data))
        self._on_item(RawPacket(self.sensor, host_ns, bytes(data)))

    def _measure(self, length: int) -> None:
        """The first packet tells whether a full one fits."""
        cut = length == profile.LEAST_MTU - profile.NOTIFICATION_OVERHEAD < self._full_bytes
        self._full_bytes = 0
        if cut and self._client is not None:
            self._tasks.append(self._spawn(self._shrink(self._client)))

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
            begun_ns = self._clock.now_ns()
            await self._clock.sleep(self._limits.watch_s)
            now_ns = self._clock.now_ns()
            late_s = (now_ns - begun_ns) * 1e-9 - self._limits.watch_s
            if late_s > self._limits.busy_s:
                # This program itself stood still. What the sensor sent meanwhile waits inside, and comes now - if it
                # lives: a dead one has nothing waiting.
                await self._clock.sleep(self._limits.catch_up_s)
            silent_s = (self._clock.now_ns() - self._last_ns) * 1e-9
            if silent_s > self._limits.silence_s:
                self._fail(LinkState.SILENT, f"no data for {silent_s:.1f} s")
            elif late_s > self._limits.busy_s and self._streaming:
                self._note(LinkState.STREAMING, f"this program was busy for {late_s:.1f} s: packets came late")

    async def _read_vitals(self) -> None:
        """What is read is told; what cannot be read now is read the next time."""
        while True:
            await self._clock.sleep(self._limits.vitals_s)
            client = self._client
            if client is None or not self._streaming:
                continue
            try:
                facts = await self._talk(client).vitals()
            except FAILURES as error:
                self._note(LinkState.STREAMING, f"the battery could not be read: {words(error)}")
                continue
            if facts and self._streaming:
                self._note(LinkState.STREAMING, "", facts)

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
        self._note(LinkState.LOST, f"the link itself failed: {words(error)}")
        if self._on_fault is not None:
            self._on_fault(error)

    def _note(self, state: LinkState, detail: str = "", facts: Mapping[str, Json] | None = None) -> None:
        self._on_item(LinkNote(self.sensor, self._clock.now_ns(), state, detail, facts or {}))

    def _error(self, error: BaseException) -> RadioError:
        hint = "charge it, bring it closer, and close other programs that use it"
        if is_about_the_adapter(error):
            hint = advice(error)
        return RadioError(f"cannot be reached: {words(error)}", where=f"sensor {self.sensor}", hint=hint)


def _may_be_elsewhere(error: BaseException, attempt: int) -> bool:
    """Whether it is worth looking for it under another address; not when the adapter is what fails."""
    return is_forgotten(error) or (attempt in LOOK_AFTER and advice(error) == ELSE)
