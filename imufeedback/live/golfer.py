"""The virtual golfer as a source: virtual sensors, through the same client and radio code as real ones."""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.ble.clock import Clock, ManualClock, MonotonicClock
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
from imufeedback.document import DemoTruth, TrueFlaw, TrueRep
from imufeedback.packets import Layout, parse_layout
from imufeedback.records import Hand, Item, Segment
from imufeedback.settings import Player, Settings
from imufeedback.synth.flaws import Amiss, Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.practice import Act, make_practice_script
from imufeedback.synth.presets import PRESETS
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import SensorStream, sensor_streams
from imufeedback.synth.swing import Swing

LAYOUT = "house"
SCAN_S = 5.0
TRY_REPS = 8
TRY_FLAWS = (Flaw.NONE, Flaw.STALL, Flaw.NONE, Flaw.PUSH_BACK)
"""Of a trial, again and again: something to see for the coach who tries the tool."""
TAIL_S = 0.3
"""The radio plays on for so long after the last movement, so that every packet arrives."""


@dataclass(frozen=True, slots=True)
class DemoPlan:
    """What the virtual golfer does."""

    hand: Hand = Hand.RIGHT
    pace: Pace = Pace.SLOW
    flaw: Flaw | tuple[Flaw | tuple[Amiss, ...], ...] = Flaw.NONE
    """Of every rep, or one for each: its name, or all that is amiss."""
    reps: int = 5
    seed: int = 1
    realtime: bool = True
    acts: tuple[Act, ...] = ()
    """What is done, in this order, instead of `reps` swings."""
    radio: tuple[str, str] | None = None
    """Fault script of the radio, TOML, and where it came from."""
    limits: str = ""
    """TOML text of the player's own limits."""
    sensors: str = "typical"
    """How good the sensors are: a name of `PRESETS`."""


def trial_plan(hand: Hand, limits: str = "") -> DemoPlan:
    """What the golfer does for a coach who tries the tool without sensors; `limits` are the player's own."""
    flaws = tuple(TRY_FLAWS[k % len(TRY_FLAWS)] for k in range(TRY_REPS))
    return DemoPlan(hand, Pace.SLOW, flaws, TRY_REPS, limits=limits)


class VirtualGolfer:
    """A source of a practice: a synthetic golfer whose virtual sensors send over the virtual radio."""

    def __init__(self, plan: DemoPlan) -> None:
        """Nothing is made before it is asked for."""
        self.plan = plan
        self.clock: Clock = MonotonicClock() if plan.realtime else ManualClock()
        self._origin_ns: int | None = None
        self._stopping = False

    @property
    def began(self) -> bool:
        """Its sensors have sent."""
        return self._origin_ns is not None

    @cached_property
    def script(self) -> Script:
        plan = self.plan
        if plan.acts:
            return make_practice_script(plan.acts, hand=plan.hand, pace=plan.pace, seed=plan.seed, alive=True)
        return make_script(hand=plan.hand, pace=plan.pace, flaw=plan.flaw, reps=plan.reps, seed=plan.seed, alive=True)

    @cached_property
    def _layout(self) -> Layout:
        return parse_layout(resources.text("layouts", LAYOUT), LAYOUT)

    @cached_property
    def streams(self) -> list[SensorStream]:
        # The golfer's hips turn as published markers on the skin saw them turn: no strap loses that once more.
        model = PRESETS[self.plan.sensors].without(lost_rotation=True)
        return sensor_streams(self.script, self._layout, WORN, model=model)

    @cached_property
    def faults(self) -> FaultScript:
        return _faults(self.plan, self.streams)

    @cached_property
    def settings(self) -> Settings:
        """Raises BadToml for a fault script that is wrong, or that names what is no sensor."""
        assert self.faults is not None  # a wrong script is told before anything begins
        player = Player(hand=self.plan.hand, name="synthetic golfer")
        return session_settings(
            ((one.serial, one.segment) for one in self.streams), LAYOUT, player=player, limits=self.plan.limits
        )

    def stop(self) -> None:
        """End early, at the next packet. Any thread."""
        self._stopping = True

    def play(self, put: Callable[[Item], None]) -> None:
        """The whole script. Raises RadioError when the virtual sensors cannot be reached.

        When not in real time, `put` is called between packets: nothing runs beside it, and all runs agree.
        """
        if self.plan.realtime:
            asyncio.run(self._run(put))
            return
        waiting: deque[Item] = deque()

        def drain() -> None:
            while waiting:
                put(waiting.popleft())

        asyncio.run(self._run(waiting.append, drain))

    async def _run(self, put: Callable[[Item], None], after: Callable[[], None] = lambda: None) -> None:
        """`put` gets every item; `after` is called between packets."""
        sensors = [self.sensor(one) for one in self.streams]
        air = VirtualRadio(
            sensors,
            self.clock,
            mtu=self.faults.mtu or REQUESTED_MTU,
            told_mtu=self.faults.told_mtu,
            close_s=self.faults.close_s,
        )
        air.plan(mishaps(self.faults, sensors, self.script.duration_s))
        faults: list[BaseException] = []
        await air.open()
        radio = Radio(self._layout, self.clock, put, backends=air.backends, on_fault=faults.append)
        try:
            found = await radio.scan(SCAN_S, expect=len(self.streams))
            await radio.open(found)
            air.begin()
            self._origin_ns = self.clock.now_ns()
            await radio.start()
            await self._play(air, self._origin_ns, put, after)
        finally:
            await radio.close()
            await air.close()
        after()
        if faults:
            raise faults[0]

    def sensor(self, stream: SensorStream) -> VirtualSensor:
        names = (stream.serial, str(stream.segment))
        error = self.faults.rate_error(*names)
        stream = replace(stream, rate_error=(1 + stream.rate_error) * (1 + error) - 1)
        payloads = disturbed(iter(stream), self.faults, self._layout, *names)
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

    def truth_offset_s(self, begin_ns: int) -> float:
        """Session time at which the script's time is 0, of a session that began then; 0 if the sensors never sent."""
        return 0.0 if self._origin_ns is None else (self._origin_ns - begin_ns) * 1e-9

    def truth(self, begin_ns: int) -> DemoTruth:
        """What really happened, in session time, for the summary."""
        shift = self.truth_offset_s(begin_ns)

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
                    amiss=_amiss(swing),
                )
                for rep, swing in zip(self.script.truth.reps, self.script.swings, strict=True)
            ]
        )


def _amiss(swing: Swing) -> list[TrueFlaw]:
    """With the player's own place where a stall was given none."""
    out = []
    for one in swing.amiss:
        stalls_at = swing.shape.stall_at if one.flaw is Flaw.STALL else None
        onset = stalls_at if one.onset is None else one.onset
        out.append(TrueFlaw(flaw=str(one.flaw), size=one.size, onset=onset, lasts_deg=one.lasts_deg))
    return out


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
