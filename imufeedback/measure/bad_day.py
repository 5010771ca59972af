"""An hour of five sensors on the virtual radio under a fault script, recorded: what arrived, and what became of it."""

from __future__ import annotations

import asyncio
import gc
import math
import struct
from array import array
from collections import Counter, deque
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.ble.clock import ManualClock
from imufeedback.ble.limits import TimeLimits
from imufeedback.ble.radio import Radio
from imufeedback.ble.virtual import FaultScript, VirtualRadio, VirtualSensor, disturbed, mishaps, parse_faults
from imufeedback.ble.virtual.faults import Disconnect, Reboot
from imufeedback.commands import Begin, recorded
from imufeedback.measure.golfer import fit_command, fit_windows
from imufeedback.packets import Layout, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Cue, Event, Item, LinkNote, Motion, RawPacket, SensorTotals, StateChanged
from imufeedback.settings import Player, Settings
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.stream import SensorStream, sensor_streams

LAYOUT = "house"
SCRIPT = "worst_day"
HEADER = struct.Struct("<BBHI")


@dataclass
class BadDay:
    """What came of it; counts over all sensors."""

    given: Counter[str] = field(default_factory=Counter)
    """Notifications that reached the client's side of the radio, by sensor."""
    not_recorded: int = 0
    """Of these, those that the recording lacks or has in another order."""
    samples_given: int = 0
    """Samples in all different whole packets among them."""
    samples_used: int = 0
    """Samples that came out of the decoding of the recording's items."""
    cues: int = 0
    stale_cues: int = 0
    """Cues that were decided more than 150 ms after the sample they are about."""
    states: int = 0
    """Live states that were decided: without any, no cue could have been stale."""
    notes: Counter[str] = field(default_factory=Counter)
    broken: int = 0
    """Links that the script broke early enough to come back."""


def looped(stream: SensorStream, ready_s: float, seconds: float) -> Iterator[tuple[int, bytes]]:
    """The stream of a script, then again and again what comes after its calibration, for so long.

    The golfer stands still where it begins anew; numbers and clock run on.
    """
    packets = list(stream)
    end_s = stream.script.duration_s
    per_packet_s = float(stream.sample_times([stream.layout.samples_per_packet])[0])
    count = len(packets)
    begin = math.ceil(ready_s / per_packet_s)
    loop_s = end_s - ready_s  # the same for all sensors, whatever their rates
    yield from packets
    step = float(stream.ticks([stream.layout.samples_per_packet])[0]) - stream.clock.first_tick
    number = count
    while number * per_packet_s < seconds:
        t_s = number * per_packet_s
        content = begin + round(((t_s - end_s) % loop_s) / per_packet_s)
        due_ns, payload = packets[min(content, count - 1)]
        late_ns = due_ns - round(min(content, count - 1) * per_packet_s * 1e9)
        head = HEADER.unpack_from(payload)
        sequence = (stream.clock.first_sequence + number) & 0xFFFF
        tick = (stream.clock.first_tick + round(number * step)) & 0xFFFFFFFF
        yield round(t_s * 1e9) + late_ns, HEADER.pack(head[0], head[1], sequence, tick) + payload[HEADER.size :]
        number += 1


class _Play:
    """One run."""

    def __init__(self, seconds: float, seed: int, folder: Path) -> None:
        self.seconds = seconds
        self.script: Script = make_script(reps=3, seed=seed, flaw=Flaw.STALL)
        self.text = resources.text("layouts", LAYOUT)
        self.layout: Layout = parse_layout(self.text, LAYOUT)
        self.faults: FaultScript = replace_seed(parse_faults(resources.text("radio", SCRIPT), SCRIPT), seed)
        self.streams = sensor_streams(self.script, self.layout, SEGMENTS)
        self.clock = ManualClock()
        self.day = BadDay()
        self.given: dict[str, array[int]] = {one.serial: array("q") for one in self.streams}
        self.whole: dict[str, set[int]] = {one.serial: set() for one in self.streams}
        self.file = folder / "worst_day.mcap"
        self.writer = JournalWriter(self.file, title="worst day", started=datetime.now().astimezone())
        self.pipeline = Pipeline()
        self.waiting: deque[Item] = deque()
        self.now_ns = 0

    # ── the items ──

    def settings(self) -> Settings:
        worn = [(stream.serial, stream.segment) for stream in self.streams]
        return session_settings(worn, LAYOUT, layout_text=self.text, player=Player(hand=self.script.hand))

    def feed(self, item: Item) -> None:
        self.now_ns = item.host_ns
        self.writer.write(item)
        if isinstance(item, LinkNote):
            self.day.notes[str(item.state)] += 1
        self.hear(self.pipeline.feed(item))

    def hear(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                self.day.cues += 1
                self.day.stale_cues += self.now_ns * 1e-9 - event.t_s > 0.150
            elif isinstance(event, StateChanged):
                self.day.states += event.state is not Motion.IDLE
            elif isinstance(event, SensorTotals):
                self.day.samples_used += event.samples

    def drain(self, _now_ns: int = 0) -> None:
        while self.waiting:
            self.feed(self.waiting.popleft())

    def tap(self, sensor: VirtualSensor, payload: bytes) -> None:
        """What the radio delivered, known before the client has seen it."""
        self.day.given[sensor.serial] += 1
        self.given[sensor.serial].append(hash(payload))
        if len(payload) == self.layout.packet_bytes(payload[1]):
            self.whole[sensor.serial].add(hash(payload))

    # ── the run ──

    def sensor(self, stream: SensorStream) -> VirtualSensor:
        names = (stream.serial, str(stream.segment))
        stream = replace(stream, rate_error=self.faults.rate_error(*names))
        payloads = disturbed(looped(stream, self.script.ready_s, self.seconds), self.faults, self.layout, *names)
        return VirtualSensor(str(stream.segment), stream.serial, payloads, self.layout, place=names[1])

    async def run(self) -> None:
        sensors = [self.sensor(one) for one in self.streams]
        air = VirtualRadio(sensors, self.clock)
        air.plan(mishaps(self.faults, sensors, self.seconds))
        self.day.broken = sum(_broken(self.faults, sensor, self.seconds) for sensor in sensors)
        air.tap = self.tap
        await air.open()
        errors: list[BaseException] = []
        radio = Radio(
            self.layout,
            self.clock,
            self.waiting.append,
            backends=air.backends,
            limits=TimeLimits(),
            on_fault=errors.append,
        )
        try:
            await radio.open(await radio.scan(5.0, expect=len(sensors)))
            await radio.start()
            air.begin()
            self.drain()
            await self._until_fitted(air)
            await air.play(round(self.seconds * 1e9), on_tick=self.drain)
        finally:
            await radio.close()
            await air.close()
        self.drain()
        self.hear(self.pipeline.finish())
        if errors:
            raise errors[0]

    async def _until_fitted(self, air: VirtualRadio) -> None:
        command = fit_command(self.script)
        origin_ns = self.clock.now_ns()
        await air.play(command.host_ns, on_tick=self.drain)
        at = origin_ns * 1e-9
        self.feed(recorded(origin_ns + command.host_ns, fit_windows(self.script, at)))

    def check_recording(self) -> None:
        """Against what the radio delivered: every notification once, in its order."""
        found: dict[str, array[int]] = {serial: array("q") for serial in self.given}
        for item in read_items(self.file):
            if isinstance(item, RawPacket):
                found[item.sensor].append(hash(item.payload))
        for serial, given in self.given.items():
            same = sum(a == b for a, b in zip(given, found[serial], strict=False))
            self.day.not_recorded += max(len(given), len(found[serial])) - same


def _broken(faults: FaultScript, sensor: VirtualSensor, seconds: float) -> int:
    """How often the link of a sensor breaks, with 10 s left for it to come back."""
    breaks = [one for one in faults.of(sensor.serial, sensor.place) if isinstance(one, Disconnect | Reboot)]
    return sum(1 for one in breaks for _ in one.times_s(seconds - one.away_s - 10.0))


def replace_seed(script: FaultScript, seed: int) -> FaultScript:
    """The same script with other luck."""
    return FaultScript(script.fault, seed, script.mtu)


def play(seconds: float, seed: int, folder: Path) -> BadDay:
    """Play the worst day for so many simulated seconds. `folder` gets the recording."""
    run = _Play(seconds, seed, folder)
    run.feed(recorded(0, Begin.of(run.settings())))
    gc.freeze()
    usual = gc.get_threshold()
    gc.set_threshold(100_000, 50, 50)
    try:
        asyncio.run(run.run())
    finally:
        gc.set_threshold(*usual)
        gc.unfreeze()
        run.writer.close()
    run.day.samples_given = sum(len(one) for one in run.whole.values()) * run.layout.samples_per_packet
    run.check_recording()
    run.file.unlink()
    return run.day
