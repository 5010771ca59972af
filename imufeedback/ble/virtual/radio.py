"""A radio in this process, with sensors on it: what a demo and the tests connect to instead of hardware.

Real ATT, GATT and L2CAP packets go between bumble devices on a local link; the client's side is bleak with a backend of
its own. Time is the given clock's. Against a clock that is moved by hand every notification is waited for, so that
order and arrival times are the same in every run; against the system's clock they are paced.
"""

from __future__ import annotations

import asyncio
import heapq
import logging
from collections.abc import Callable, Iterable, Sequence

from bumble.link import LocalLink

from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import Clock, ManualClock
from imufeedback.ble.virtual.central import REQUESTED_MTU, Central
from imufeedback.ble.virtual.mishaps import Mishap
from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.errors import UsageError

DELIVERY_S = 2.0
"""A notification that has not arrived by then was dropped on the way, as after the client unsubscribed."""
_CENTRAL_ADDRESS = "C0:00:00:00:00:00"


def address_of(number: int) -> str:
    """Of the sensor of this number, from 0: its place in the list that the radio is given."""
    return f"C0:00:00:00:00:{number + 1:02X}"


class VirtualRadio:
    """Virtual sensors and the virtual adapter to reach them by: `open`, hand `backends` to bleak, `play`, `close`."""

    def __init__(
        self,
        sensors: Sequence[VirtualSensor],
        clock: Clock,
        *,
        mtu: int = REQUESTED_MTU,
        told_mtu: int | None = None,
        close_s: float = 0.0,
    ) -> None:
        """`told_mtu` is what the system says of the MTU, whatever was agreed; `close_s` what it takes to end a link, in
        the loop's own time."""
        self._sensors = tuple(sensors)
        self._clock = clock
        self._mtu, self._told_mtu, self._close_s = mtu, told_mtu, close_s
        self._central: Central | None = None
        self._origin_ns: int | None = None
        self._due: list[tuple[int, int, bytes]] = []
        """Heap of the next payload of every sensor: when, whose, what."""
        self._delivered: asyncio.Future[None] | None = None
        self._mishaps: list[Mishap] = []
        self.tap: Callable[[VirtualSensor, bytes], None] | None = None
        """Told of every notification that reached the client's side of the radio."""

    @property
    def backends(self) -> Backends:
        """What to pass to `Radio` or `scan`. Raises UsageError before `open`."""
        if self._central is None:
            raise UsageError("the virtual radio is not open", hint="await open() first")
        return self._central.backends()

    async def open(self) -> None:
        """Power everything on; sensors advertise from now."""
        # bumble warns of what tests and demos do on purpose, such as links that break.
        logging.getLogger("bumble").setLevel(logging.ERROR)
        link = LocalLink()  # type: ignore[no-untyped-call]
        self._central = Central(link, _CENTRAL_ADDRESS, self._on_delivered, self._mtu)
        self._central.close_s, self._central.told_mtu = self._close_s, self._told_mtu
        await self._central.device.power_on()
        for k, sensor in enumerate(self._sensors):
            sensor.on_gone = self._go_on
            await sensor.power_on(link, address_of(k))
        self._central.is_untold = lambda address: self._at(address).untold

    def _at(self, address: str) -> VirtualSensor:
        bare = address.upper().partition("/")[0]  # the stack adds the kind of the address to some
        return next(sensor for sensor in self._sensors if sensor.address == bare)

    def plan(self, mishaps: Iterable[Mishap]) -> None:
        """Let these things happen while playing, at their times from the origin."""
        self._mishaps = sorted([*self._mishaps, *mishaps], key=lambda one: one[0])

    async def close(self) -> None:
        """Power everything off."""
        for sensor in self._sensors:
            await sensor.power_off()
        if self._central is not None:
            await self._central.device.power_off()
            self._central = None

    def begin(self, origin_ns: int | None = None) -> None:
        """Set the clock's time at which the payloads' times are 0: now, if not given. `play` does it if nobody did."""
        self._origin_ns = self._clock.now_ns() if origin_ns is None else origin_ns
        self._due = []
        for k in range(len(self._sensors)):
            self._draw(k)

    def _draw(self, k: int) -> None:
        following = next(self._sensors[k].payloads, None)
        if following is not None:
            heapq.heappush(self._due, (following[0], k, following[1]))

    async def play(
        self, until_ns: int, *, realtime: bool = False, on_tick: Callable[[int], None] | None = None
    ) -> None:
        """Send every payload that is due before `until_ns`, counted from the origin, in the order of time.

        `on_tick` is called after each with the clock's time. In real time the clock runs by itself; otherwise it must
        be a ManualClock (UsageError), which is moved along as fast as the notifications are delivered.
        """
        if self._origin_ns is None:
            self.begin()
        assert self._origin_ns is not None
        while self._due and self._due[0][0] < until_ns:
            await self._happen(self._due[0][0], realtime)
            deliver_ns, k, payload = heapq.heappop(self._due)
            await self._reach(self._origin_ns + deliver_ns, realtime)
            sensor = self._sensors[k]
            for part in sensor.obeying(payload) if sensor.listening else (payload,):
                await self._send(sensor, part, wait=not realtime)
            if on_tick is not None:
                on_tick(self._clock.now_ns())
            self._draw(k)
        await self._happen(until_ns, realtime)
        await self._reach(self._origin_ns + until_ns, realtime)

    async def _happen(self, until_ns: int, realtime: bool) -> None:
        """Whatever is planned up to a time."""
        assert self._origin_ns is not None
        while self._mishaps and self._mishaps[0][0] <= until_ns:
            at_ns, act = self._mishaps.pop(0)
            await self._reach(self._origin_ns + at_ns, realtime)
            await act()

    async def _reach(self, time_ns: int, realtime: bool) -> None:
        if realtime:
            # Towards the target time, so that delays do not add up; also a chance for others to run.
            await self._clock.sleep(max(0.0, (time_ns - self._clock.now_ns()) * 1e-9))
        elif isinstance(self._clock, ManualClock):
            self._clock.set_ns(time_ns)
        else:
            raise UsageError("only a ManualClock can be moved", hint="use realtime=True with the system's clock")

    async def _send(self, sensor: VirtualSensor, payload: bytes, wait: bool) -> None:
        if not sensor.listening:
            sensor.unsent += 1
            await asyncio.sleep(0)
            return
        if not wait:
            await sensor.notify(payload)
            return
        self._delivered = asyncio.get_running_loop().create_future()
        try:
            async with asyncio.timeout(DELIVERY_S):
                await sensor.notify(payload)
                await self._delivered
        except TimeoutError:
            sensor.unsent += 1
        finally:
            self._delivered = None

    def _on_delivered(self, address: str, payload: bytes) -> None:
        sensor = self._at(address)
        sensor.delivered += 1
        if self.tap is not None:
            self.tap(sensor, payload)
        self._go_on()

    def _go_on(self) -> None:
        """A notification reached the client, or its sensor is gone and it never will."""
        if self._delivered is not None and not self._delivered.done():
            self._delivered.set_result(None)
