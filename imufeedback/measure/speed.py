"""What one step of 5 ms costs: from samples to angles, three sensors; and other filters alone on the same samples."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import ahrs
import numpy as np
import vqf

from imufeedback import resources
from imufeedback.body import Body
from imufeedback.commands import Asked, SetFit
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.fusion import Fusion
from imufeedback.measure.golfer import LAYOUT, RATE_HZ, items
from imufeedback.measure.players import typical
from imufeedback.packets import Decoder, parse_layout
from imufeedback.pipeline import run
from imufeedback.records import (
    AlignedBlock,
    DeviceBlock,
    DeviceRun,
    Fitted,
    Floats,
    ImuBlock,
    Item,
    OrientationBlock,
    RawPacket,
)
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import serial_of
from imufeedback.timing import Merger, SensorClock

SAMPLES = 4
"""In a packet, as our sensors send them."""
HOUSE = "house"
"""Layout of packets that come by radio."""
NAMES = tuple(serial_of(one) for one in WORN)


@dataclass(frozen=True, slots=True)
class Prepared:
    """A session's samples, ready for the fusion."""

    fitted: Fitted
    blocks: tuple[ImuBlock, ...]
    """Packets of all sensors in turn."""

    @property
    def steps(self) -> int:
        """Steps of 5 ms."""
        return sum(len(one.t_s) for one in self.blocks) // len(WORN)


@dataclass(frozen=True, slots=True)
class StepCost:
    """Mean microseconds of processor time per step of 5 ms, all three sensors together."""

    fusion: float
    merge: float
    body: float
    vqf: float
    """The library alone, in the same packets."""

    @property
    def fusion_and_body(self) -> float:
        """What the promise is about; the merge is told beside it."""
        return self.fusion + self.body


def prepared(session: Script) -> Prepared:
    """Typical sensors; decoding and clocks are done here, they are not what is measured."""
    stream = list(items(session, WORN, model=typical(soft_tissue=False)))
    fitted = next(one for one in run(stream) if isinstance(one, Fitted))
    return Prepared(fitted, tuple(_timed_blocks(stream)))


def _timed_blocks(stream: Sequence[Item]) -> list[ImuBlock]:
    layout = parse_layout(resources.text("layouts", LAYOUT), LAYOUT)
    unit_s, bits = layout.counter.unit_s, layout.counter.bits
    decoders = {name: Decoder(name, layout, 0) for name in NAMES}
    clocks = {
        name: SensorClock(name, tick_unit_s=unit_s, tick_bits=bits, nominal_hz=RATE_HZ, origin_ns=0) for name in NAMES
    }
    out: list[ImuBlock] = []
    for packet in (one for one in stream if isinstance(one, RawPacket)):
        device = [one for one in decoders[packet.sensor].feed(packet) if isinstance(one, DeviceBlock)]
        timed = [one for block in device for one in clocks[packet.sensor].feed(block) if isinstance(one, ImuBlock)]
        out += [part for one in timed for part in _cut(one)]
    return sorted(out, key=lambda one: float(one.t_s[-1]))


def _cut(block: ImuBlock) -> list[ImuBlock]:
    rows = [slice(i, i + SAMPLES) for i in range(0, len(block.t_s), SAMPLES)]
    return [
        ImuBlock(block.sensor, block.t_s[r], block.dt_s[r], block.gyr_rad_s[r], block.acc_m_s2[r], block.flags[r])
        for r in rows
    ]


STRETCH = 600
"""Packets of one sensor that are read at once where a recording is judged: its part of the items between two looks at
the progress."""


def read_us(session: Script) -> tuple[float, float]:
    """Mean microseconds a packet for decoding and clock: over stretches, and one packet after the other."""
    layout = parse_layout(resources.text("layouts", HOUSE), HOUSE)
    text = resources.text("layouts", HOUSE)
    stream = items(session, WORN[:1], model=typical(soft_tissue=False), layout_text=text)
    packets = [one for one in stream if isinstance(one, RawPacket)]
    parts = [packets[k : k + STRETCH] for k in range(0, len(packets), STRETCH)]
    decoder, clock = Decoder(NAMES[0], layout, 0), clock_of(NAMES[0], layout, 0)

    def together() -> None:
        for part in parts:
            for _, made in decoder.feed_many(part):
                if isinstance(made, DeviceRun):
                    _run_through(clock, made)
                else:
                    _one_by_one(clock, made)

    single, single_clock = Decoder(NAMES[0], layout, 0), clock_of(NAMES[0], layout, 0)

    def singly() -> None:
        for packet in packets:
            _one_by_one(single_clock, single.feed(packet))

    return _each_us(together, len(packets)), _each_us(singly, len(packets))


def _run_through(clock: SensorClock, run: DeviceRun) -> None:
    done = 0
    while done < len(run):
        timed = clock.feed_run(run.rest(done))
        if timed is None:
            clock.feed(run.block(done))
        done += 1 if timed is None else len(timed.run)


def _one_by_one(clock: SensorClock, made: Iterable[object]) -> None:
    for one in made:
        if isinstance(one, DeviceBlock):
            clock.feed(one)


def cost(given: Prepared, hand_of: Script) -> StepCost:
    """Run all of it once, stage by stage, packet by packet as it comes live."""
    fusions = {name: Fusion(name, period_s=1 / RATE_HZ) for name in NAMES}
    merger = Merger(list(zip(NAMES, WORN, strict=True)), grid_hz=RATE_HZ)
    body = Body(WORN, hand=hand_of.hand, grid_hz=RATE_HZ)
    body.feed(Asked(0.0, SetFit.of(given.fitted.fit)))
    oriented: list[OrientationBlock] = []
    aligned: list[AlignedBlock] = []
    filters = {name: vqf.VQF(1 / RATE_HZ) for name in NAMES}
    arrays = [(one.sensor, np.array(one.gyr_rad_s), np.array(one.acc_m_s2)) for one in given.blocks]

    def fuse() -> None:
        for block in given.blocks:
            oriented.extend(fusions[block.sensor].feed(block))

    def merge() -> None:
        for block in oriented:
            aligned.extend(merger.feed(block))

    def angles() -> None:
        for block in aligned:
            body.feed(block)

    def library() -> None:
        for name, gyr, acc in arrays:
            filters[name].updateBatch(gyr, acc)

    return StepCost(*(_each_us(work, given.steps) for work in (fuse, merge, angles, library)))


def samples(given: Prepared) -> dict[str, tuple[Floats, Floats]]:
    """Rates and specific forces (N, 3) of every sensor, for filters that take all at once."""
    return {
        name: (
            np.concatenate([one.gyr_rad_s for one in given.blocks if one.sensor == name]),
            np.concatenate([one.acc_m_s2 for one in given.blocks if one.sensor == name]),
        )
        for name in NAMES
    }


def vqf_alone(given: dict[str, tuple[Floats, Floats]]) -> None:
    """The filter that ours is built on, over all `samples`, in one call for each sensor."""
    for gyr, acc in given.values():
        vqf.VQF(1 / RATE_HZ).updateBatch(gyr, acc)


def madgwick_alone(given: dict[str, tuple[Floats, Floats]]) -> None:
    """A well-known filter of the library ahrs, which steps in Python."""
    for gyr, acc in given.values():
        ahrs.filters.Madgwick(gyr=gyr, acc=acc, frequency=RATE_HZ)


def _each_us(work: Callable[[], None], steps: int) -> float:
    begun = time.process_time()
    work()
    return (time.process_time() - begun) / steps * 1e6
