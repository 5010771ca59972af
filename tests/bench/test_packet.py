"""One packet of four samples as it comes live: each round takes the next one, so states are as they are in life."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest
import vqf
from pytest_benchmark.fixture import BenchmarkFixture

from imufeedback import resources
from imufeedback.measure.scaling import LAYOUT, RATE_HZ
from imufeedback.packets import Decoder, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.record.journal import JournalWriter
from imufeedback.records import DeviceBlock, RawPacket
from imufeedback.timing import SensorClock

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(group="one packet", timer=time.process_time)]
ROUNDS = 1200
BEFORE = 200
"""Items at first: the clocks are fitted and the player stands at zero."""


def packets_of_one(live) -> list[RawPacket]:
    packets = [one for one in live if isinstance(one, RawPacket)]
    return [one for one in packets if one.sensor == packets[0].sensor]


def decoder(sensor: str) -> Decoder:
    return Decoder(sensor, parse_layout(resources.text("layouts", LAYOUT), LAYOUT), 0)


def test_whole_pipeline(benchmark: BenchmarkFixture, live, in_turn) -> None:
    pipeline = Pipeline()
    for item in live[:BEFORE]:
        pipeline.feed(item)
    benchmark.pedantic(in_turn(pipeline.feed, live[BEFORE:]), rounds=ROUNDS)


def test_decode(benchmark: BenchmarkFixture, live, in_turn) -> None:
    packets = packets_of_one(live)
    benchmark.pedantic(in_turn(decoder(packets[0].sensor).feed, packets), rounds=ROUNDS)


def test_decode_and_clock(benchmark: BenchmarkFixture, live, in_turn) -> None:
    packets = packets_of_one(live)
    sensor, origin_ns = packets[0].sensor, live[0].host_ns
    decode = decoder(sensor)
    clock = SensorClock(sensor, tick_unit_s=1e-6, tick_bits=32, nominal_hz=RATE_HZ, origin_ns=origin_ns)

    def both(packet: RawPacket) -> None:
        for block in decode.feed(packet):
            if isinstance(block, DeviceBlock):
                clock.feed(block)

    benchmark.pedantic(in_turn(both, packets), rounds=ROUNDS)


def test_journal(benchmark: BenchmarkFixture, live, in_turn, tmp_path: Path) -> None:
    with JournalWriter(tmp_path / "bench.mcap", title="bench") as journal:
        benchmark.pedantic(in_turn(journal.write, live), rounds=ROUNDS)


def test_vqf_alone(benchmark: BenchmarkFixture, given) -> None:
    blocks = [(np.array(one.gyr_rad_s), np.array(one.acc_m_s2)) for one in given.samples.blocks]
    one = vqf.VQF(1 / RATE_HZ)
    left = iter(blocks)
    benchmark.pedantic(lambda: one.updateBatch(*next(left)), rounds=ROUNDS)
