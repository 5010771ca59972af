"""The demo: a synthetic golfer with virtual sensors, through the same client, pipeline and outputs as real ones."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from imufeedback import resources
from imufeedback.ble.clock import Clock
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import (
    FaultScript,
    VirtualRadio,
    VirtualSensor,
    disturbed,
    mishaps,
    parse_faults,
)
from imufeedback.ble.virtual.central import REQUESTED_MTU
from imufeedback.commands import BeginFit, recorded
from imufeedback.document import DemoTruth, TrueRep
from imufeedback.packets import parse_layout
from imufeedback.records import Hand, Item, Segment
from imufeedback.settings import Player, Sensor, Settings
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import SensorStream, sensor_streams
from imufeedback.synth.swing import Flaw

LAYOUT = "house"
SCAN_S = 5.0
TAIL_S = 0.3
"""The radio plays on for so long after the last movement, so that every packet arrives."""


@dataclass(frozen=True, slots=True)
class DemoPlan:
    """What the synthetic golfer does."""

    hand: Hand = Hand.RIGHT
    pace: Pace = Pace.SLOW
    flaw: Flaw | tuple[Flaw, ...] = Flaw.NONE
    """Of every rep, or one for each."""
    reps: int = 5
    seed: int = 1
    realtime: bool = True
    radio: tuple[str, str] | None = None
    """Fault script of the radio, TOML, and where it came from."""


class Demo:
    """One demo. `clock` is a manual one when the plan is not in real time."""

    def __init__(self, plan: DemoPlan, clock: Clock, *, segments: Sequence[Segment] = WORN) -> None:
        self.plan = plan
        self.script: Script = make_script(
            hand=plan.hand, pace=plan.pace, flaw=plan.flaw, reps=plan.reps, seed=plan.seed
        )
        self._clock = clock
        text = resources.text("layouts", LAYOUT)
        self._layout = parse_layout(text, LAYOUT)
        self._streams: list[SensorStream] = sensor_streams(self.script, self._layout, segments)
        self.begin_ns = clock.now_ns()
        """Host time of session time 0."""
        self._faults = _faults(plan, self._streams)
        self.settings = Settings(
            sensors=tuple(Sensor(one.serial, one.segment, LAYOUT) for one in self._streams),
            layouts={LAYOUT: text},
            rule_set=resources.text("rules", "swing"),
            player=Player(hand=plan.hand, name="synthetic golfer"),
            grid_hz=self._layout.rate_hz,
        )
        self.truth_offset_s = 0.0
        """Session time at which the script's time is 0; known once the sensors have started."""
        self._stopping = False

    def stop(self) -> None:
        """End early, at the next packet. Any thread."""
        self._stopping = True

    async def run(self, put: Callable[[Item], None], after: Callable[[], None] = lambda: None) -> None:
        """Play the whole script. `put` gets every item; `after` is called between packets.

        Raises RadioError when the virtual sensors cannot be reached.
        """
        sensors = [self._sensor(one) for one in self._streams]
        air = VirtualRadio(sensors, self._clock, mtu=self._faults.mtu or REQUESTED_MTU)
        air.plan(mishaps(self._faults, sensors, self.script.duration_s))
        faults: list[BaseException] = []
        await air.open()
        radio = Radio(self._layout, self._clock, put, backends=air.backends, on_fault=faults.append)
        try:
            found = await radio.scan(SCAN_S, expect=len(self._streams))
            await radio.open(found)
            air.begin()
            origin_ns = self._clock.now_ns()
            self.truth_offset_s = (origin_ns - self.begin_ns) * 1e-9
            await radio.start()
            await self._play(air, origin_ns, put, after)
        finally:
            await radio.close()
            await air.close()
        after()
        if faults:
            raise faults[0]

    def _sensor(self, stream: SensorStream) -> VirtualSensor:
        names = (stream.serial, str(stream.segment))
        error = self._faults.rate_error(*names)
        stream = replace(stream, rate_error=(1 + stream.rate_error) * (1 + error) - 1)
        payloads = disturbed(iter(stream), self._faults, self._layout, *names)
        return VirtualSensor(f"virtual {stream.segment}", stream.serial, payloads, self._layout, place=names[1])

    async def _play(
        self, air: VirtualRadio, origin_ns: int, put: Callable[[Item], None], after: Callable[[], None]
    ) -> None:
        # hands free from here on: the sequence is recognised by itself
        put(recorded(origin_ns, BeginFit()))

        def on_tick(now_ns: int) -> None:
            if self._stopping:
                raise _Stopped
            after()

        try:
            until_ns = int((self.script.duration_s + TAIL_S) * 1e9)
            await air.play(until_ns, realtime=self.plan.realtime, on_tick=on_tick)
        except _Stopped:
            return

    def truth(self) -> DemoTruth:
        """What really happened, in session time, for the summary."""
        shift = self.truth_offset_s

        def at(value: float | None) -> float | None:
            return None if value is None else value + shift

        return DemoTruth(
            reps=[
                TrueRep(
                    address_s=at(rep.address_s),
                    top_s=at(rep.top_s),
                    level_s=at(rep.level_s),
                    impact_s=at(rep.impact_s),
                    finish_s=at(rep.finish_s),
                    stall_s=at(rep.stall_s),
                    flaw=str(rep.flaw),
                )
                for rep in self.script.truth.reps
            ]
        )


def _faults(plan: DemoPlan, streams: Sequence[SensorStream]) -> FaultScript:
    """Raises BadToml for a script that is wrong, or that names what is no sensor. (One for five sensors serves
    three.)"""
    if plan.radio is None:
        return FaultScript()
    text, where = plan.radio
    script = parse_faults(text, where)
    script.check_names((*Segment, *(one.serial for one in streams)), where)
    return script


class _Stopped(Exception):
    """The demo was asked to end."""


def run_inline(demo: Demo, feed: Callable[[Item], None]) -> None:
    """Run a demo that is not in real time, feeding items between packets: nothing runs beside it, all runs agree."""
    waiting: deque[Item] = deque()

    def drain() -> None:
        while waiting:
            feed(waiting.popleft())

    asyncio.run(demo.run(waiting.append, drain))
