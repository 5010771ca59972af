"""A virtual radio with sensors on it, the client that streams from them, and all that came out."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from typing import Any

from packet_streams import HOUSE, STEP_NS, packet

from imufeedback.ble.clock import Clock, ManualClock
from imufeedback.ble.limits import TimeLimits
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import VirtualRadio, VirtualSensor
from imufeedback.packets import Layout
from imufeedback.records import LinkNote, LinkState, RawPacket

QUICK = TimeLimits(connect_s=2.0, request_s=2.0, close_s=1.0, backoff_s=(0.0, 0.01))


def payloads(n: int, seed: int, offset_ns: int = 0) -> list[tuple[int, bytes]]:
    """n packets, 20 ms apart, as a virtual sensor wants them."""
    return [(k * STEP_NS + offset_ns, packet(k, seed=seed * 100_000 + k)) for k in range(n)]


def sensor(serial: str, sent: list[tuple[int, bytes]], layout: Layout = HOUSE) -> VirtualSensor:
    return VirtualSensor(serial, serial, iter(sent), layout)


class World:
    """What a test needs in its hands."""

    def __init__(self, clock: Clock, virtual: VirtualRadio, radio: Radio, items: list[RawPacket | LinkNote]) -> None:
        self.clock = clock
        self.virtual = virtual
        self.radio = radio
        self.items = items
        self.faults: list[BaseException] = []

    def packets(self, serial: str) -> list[tuple[int, bytes]]:
        return [(i.host_ns, i.payload) for i in self.items if isinstance(i, RawPacket) and i.sensor == serial]

    def notes(self, serial: str) -> list[LinkNote]:
        return [i for i in self.items if isinstance(i, LinkNote) and i.sensor == serial]

    def states(self, serial: str) -> list[LinkState]:
        return [note.state for note in self.notes(serial)]

    async def until(self, condition: Callable[[], bool]) -> None:
        """Let the loop run until it is so; fails after 5 s."""
        async with asyncio.timeout(5):
            while not condition():
                await asyncio.sleep(0.001)

    async def connect(self, expect: int) -> None:
        await self.radio.open(await self.radio.scan(5.0, expect=expect))
        await self.radio.start()


@asynccontextmanager
async def world(
    sensors: Sequence[VirtualSensor],
    clock: Clock | None = None,
    *,
    limits: TimeLimits = QUICK,
    mtu: int = 247,
    **system: Any,
) -> AsyncIterator[World]:
    clock = clock or ManualClock()
    virtual = VirtualRadio(sensors, clock, mtu=mtu, **system)
    await virtual.open()
    items: list[RawPacket | LinkNote] = []
    faults: list[BaseException] = []
    radio = Radio(HOUSE, clock, items.append, backends=virtual.backends, limits=limits, on_fault=faults.append)
    here = World(clock, virtual, radio, items)
    here.faults = faults
    try:
        yield here
    finally:
        await radio.close()
        await virtual.close()
