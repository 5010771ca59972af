"""Sensors on the desk: found, connected, listened to, without a session. What the verbs of `sensors` stand on."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from imufeedback.ble.clock import Clock, ManualClock, MonotonicClock
from imufeedback.ble.monitor import MonitorRow, SensorMonitor
from imufeedback.ble.own import STALE_S, Reach, absent, changed, has_all, in_reach, is_changed
from imufeedback.ble.radio import Radio
from imufeedback.ble.roster import KnownSensor, Roster, key, why_missing
from imufeedback.ble.scan import HeardSensor
from imufeedback.ble.virtual import FaultScript, VirtualRadio, VirtualSensor, disturbed, mishaps
from imufeedback.ble.virtual.bench import QUIRKS, Quirk, sensors
from imufeedback.ble.virtual.central import REQUESTED_MTU
from imufeedback.ble.virtual.neighbours import strangers
from imufeedback.errors import RadioError
from imufeedback.packets import Layout
from imufeedback.records import Json, LinkNote, LinkState, RawPacket, Tick

SCAN_S = 5.0
STRANGERS = "`imufeedback sensors scan` lists them, `imufeedback sensors assign` makes one yours"
NOBODY = "switch them on, bring them close, close other programs and phones that use them"


@dataclass
class Desk:
    """Some sensors and what is known of them. `pass_time` lets so many seconds go by, by the desk's clock."""

    layout: Layout
    clock: Clock
    radio: Radio
    pass_time: Callable[[float], Awaitable[None]]
    items: asyncio.Queue[RawPacket | LinkNote]
    monitors: dict[str, SensorMonitor] = field(default_factory=dict)
    facts: dict[str, dict[str, Json]] = field(default_factory=dict)
    found: list[HeardSensor] = field(default_factory=list)
    lent: tuple[KnownSensor, ...] = ()
    """Sensors that are the person's own at this desk, whatever is remembered."""
    peak: int = 0
    """Most items that ever waited at once."""
    origin_ns: int = 0

    async def look(
        self, roster: Roster, *, expect: int | None = None, seconds: float | None = None, all_of_them: bool = True
    ) -> Reach:
        """Who is in reach, without connecting to anybody; they are in `found`, strongest first.

        Listens for `seconds` (`SCAN_S`), and for less where `expect` sensors are heard sooner, or where it is not about
        all of them but about own ones with a place.

        Raises RadioError when none is heard.
        """
        self.origin_ns = self.clock.now_ns()
        for one in self.lent:
            roster.known.setdefault(key(one.serial), one)
        known = [one for one in roster.known.values() if one.layout == self.layout.name]
        self.found = await self.radio.scan(
            SCAN_S if seconds is None else seconds,
            expect=expect,
            enough=lambda heard: not all_of_them and has_all(heard, known),
        )
        if not self.found:
            lines = changed(known, await self.radio.overhear(STALE_S)) if known else []
            if lines:
                raise RadioError(lines[0], where="scan")
            lines = why_missing(roster.missing(()))
            raise RadioError("no sensor was heard", where="scan", hint="; ".join(lines) or NOBODY)
        return in_reach(self.found, known)

    async def take(self, roster: Roster, reach: Reach) -> list[str]:
        """Connect to own sensors only. Returns a line for each that is absent, in doubt, or cannot be reached."""
        missing = absent(reach, roster.known.values())
        heard = await self.radio.overhear(STALE_S) if any(one.address for one in missing) else frozenset()
        failed = await self.radio.reach([(found, known.serial) for found, known in reach.own])
        self.listen()
        for link in self.radio.links:
            roster.meet(link.sensor, self.facts.get(link.sensor, {}), self.layout.name)
        lines = [
            *changed(missing, heard),
            *why_missing(one for one in missing if not is_changed(one, heard)),
            *reach.doubts,
        ]
        return [*lines, *(str(error) for _, error in failed)]

    async def connect(self, roster: Roster, *, expect: int | None = None, seconds: float | None = None) -> list[str]:
        """Find and connect own sensors, as `look` and `take`. Raises RadioError when there is none of them."""
        reach = await self.look(roster, expect=expect, seconds=seconds, all_of_them=False)
        lines = await self.take(roster, reach)
        if not self.radio.links:
            count = len(reach.others)
            what = "; ".join(lines) if roster.known else "no sensor is known here as yours"
            hint = f"{count} others are in reach: {STRANGERS}" if count else NOBODY
            raise RadioError(what or "no sensor of yours was heard", where="sensors", hint=hint)
        return lines

    async def adopt(self, roster: Roster, found: HeardSensor) -> str:
        """Connect to one that a person has pointed at, and remember it as theirs; returns its serial number.

        Raises RadioError when it cannot be reached.
        """
        for _, error in await self.radio.reach([(found, None)]):
            raise error
        self.listen()
        sensor = self.radio.links[-1].sensor
        roster.meet(sensor, self.facts.get(sensor, {}), self.layout.name)
        return sensor

    def listen(self) -> None:
        """Take in what has arrived."""
        self.peak = max(self.peak, self.items.qsize())
        while not self.items.empty():
            self._take(self.items.get_nowait())
        for monitor in self.monitors.values():
            monitor.feed(Tick(self.clock.now_ns()))

    def _take(self, item: RawPacket | LinkNote) -> None:
        if isinstance(item, LinkNote):
            if item.state is LinkState.CONNECTED:
                self.facts[item.sensor] = dict(item.facts)
            elif item.sensor not in self.monitors and item.state in (LinkState.CONNECTING, LinkState.SEARCHING):
                return  # under its address, before its serial number is known
        monitor = self.monitors.get(item.sensor)
        if monitor is None:
            monitor = SensorMonitor(item.sensor, self.layout, self.origin_ns, self._signal(item.sensor))
            self.monitors[item.sensor] = monitor
        monitor.feed(item)

    def _signal(self, sensor: str) -> int | None:
        address = self.facts.get(sensor, {}).get("address")
        return next((one.rssi_dbm for one in self.found if one.address == address), None)

    def rows(self) -> list[MonitorRow]:
        now_ns = self.clock.now_ns()
        return [one.row(now_ns) for one in self.monitors.values()]

    def waiting(self) -> int:
        return self.items.qsize()


@asynccontextmanager
async def desk(layout: Layout) -> AsyncIterator[Desk]:
    """Real sensors."""
    clock = MonotonicClock()
    items: asyncio.Queue[RawPacket | LinkNote] = asyncio.Queue()
    radio = Radio(layout, clock, items.put_nowait)
    try:
        yield Desk(layout, clock, radio, clock.sleep, items)
    finally:
        await radio.close()


@asynccontextmanager
async def virtual_desk(
    layout: Layout,
    *,
    seconds: float = 3600.0,
    realtime: bool = True,
    quirks: tuple[Quirk, ...] = QUIRKS,
    neighbours: int = 0,
    own: bool = True,
    made: Sequence[VirtualSensor] | None = None,
    faults: FaultScript | None = None,
) -> AsyncIterator[Desk]:
    """The virtual bench's sensors, and so many of other people. The bench's are known unless they are not `own`. Not in
    real time, time passes as fast as it goes. `made` takes the place of the bench's sensors."""
    clock: Clock = MonotonicClock() if realtime else ManualClock()
    faults = faults or FaultScript()
    made = [*(sensors(layout, seconds, quirks) if made is None else made), *strangers(layout, neighbours)]
    for one in made:
        one.payloads = disturbed(one.payloads, faults, layout, one.serial, one.place)
    air = VirtualRadio(made, clock, mtu=faults.mtu or REQUESTED_MTU, told_mtu=faults.told_mtu, close_s=faults.close_s)
    air.plan(mishaps(faults, made, seconds))
    await air.open()
    items: asyncio.Queue[RawPacket | LinkNote] = asyncio.Queue()
    radio = Radio(layout, clock, items.put_nowait, backends=air.backends)
    begun: list[int] = []

    async def pass_time(duration_s: float) -> None:
        if not begun:
            air.begin()
            begun.append(clock.now_ns())
        await air.play(clock.now_ns() - begun[0] + round(duration_s * 1e9), realtime=realtime)

    lent = tuple(
        KnownSensor(one.serial, layout=layout.name, address=one.address) for one in made[: len(made) - neighbours]
    )
    try:
        yield Desk(layout, clock, radio, pass_time, items, lent=lent if own else ())
    finally:
        await radio.close()
        await air.close()
