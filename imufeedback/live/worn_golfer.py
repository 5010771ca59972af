"""The virtual golfer's sensors for a station: everything between radio and sound is what real sensors would meet."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from imufeedback.ble.backends import Backends
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.roster import KnownSensor
from imufeedback.ble.virtual import VirtualRadio, mishaps
from imufeedback.ble.virtual.central import REQUESTED_MTU
from imufeedback.live.golfer import LAYOUT, TAIL_S, DemoPlan, VirtualGolfer

LOOK_S = 0.02


class WornGolfer:
    """Sensors on a virtual golfer, in real time. The golfer begins to move when all of them send."""

    def __init__(self, plan: DemoPlan, on_end: Callable[[], None] = lambda: None) -> None:
        """`on_end` is called in the station's loop when the golfer is done. Raises BadToml for a wrong fault script."""
        self._golfer = VirtualGolfer(plan)
        self._on_end = on_end
        self._playing: asyncio.Task[None] | None = None
        self.known = tuple(KnownSensor(one.serial, one.segment, LAYOUT) for one in self._golfer.streams)

    async def backends(self) -> Backends:
        """Of a radio that has these sensors; awaited in the station's loop."""
        golfer = self._golfer
        sensors = [golfer.sensor(one) for one in golfer.streams]
        air = VirtualRadio(
            sensors,
            MonotonicClock(),
            mtu=golfer.faults.mtu or REQUESTED_MTU,
            told_mtu=golfer.faults.told_mtu,
            close_s=golfer.faults.close_s,
        )
        air.plan(mishaps(golfer.faults, sensors, golfer.script.duration_s))
        await air.open()

        async def play() -> None:
            while not all(one.listening for one in sensors):
                await asyncio.sleep(LOOK_S)
            air.begin()
            await air.play(int((golfer.script.duration_s + TAIL_S) * 1e9), realtime=True)
            self._on_end()

        self._playing = asyncio.create_task(play(), name="golfer")
        return air.backends
