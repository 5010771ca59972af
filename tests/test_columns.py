"""A stretch of packets read column by column tells exactly what its packets tell one by one: samples, times, events and
memory, under every fault script that is shipped and with every layout."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.ble.virtual import disturbed, parse_faults
from imufeedback.conduct import Sensors
from imufeedback.conduct.batch import Batch
from imufeedback.packets import Layout, encode, parse_layout
from imufeedback.records import Event, ImuBlock, ImuRun, Item, RawPacket, Segment, Tick, joined, same

PLACES = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.LEFT_SHANK, Segment.RIGHT_SHANK)
SECONDS = 80.0
"""By then every kind of fault has come."""
LAYOUTS = ("house", "example_big_endian", "example_floats", "example_modulus", "lossless")


def sent(layout: Layout, number: int, seconds: float) -> Iterator[tuple[int, bytes]]:
    """A noisy sensor that rests in every other stretch of five seconds; its counters go round on the way."""
    rng = np.random.default_rng(number)
    size, modulus = layout.samples_per_packet, layout.counter_modulus
    first_tick = modulus - round(20.0 / layout.counter.unit_s) if modulus * layout.counter.unit_s > 30.0 else 0
    first = max(0, layout.sequence_numbers - 700) if layout.sequence_width else 0
    for k in range(int(seconds * layout.rate_hz / size)):
        n = k * size + np.arange(size)
        moves = 0.02 if int(n[0] / layout.rate_hz / 5.0) % 2 else 1.0
        gyr, acc = rng.normal(0.0, moves, (size, 3)), rng.normal((0.0, 0.0, 9.81), 4.0 * moves, (size, 3))
        ticks = first_tick + np.rint(n * layout.nominal_step_ticks).astype(object)
        payload = encode(layout, first + k, int(ticks[0]), gyr, acc, [int(one) % modulus for one in ticks])
        yield round(n[-1] / layout.rate_hz * 1e9 + 2e6 + rng.exponential(2e6)), payload


def stream(layout: Layout, script: str | None, seconds: float) -> list[Item]:
    """All sensors' packets in the order in which they come, and a tick now and then."""
    streams = []
    for number, place in enumerate(PLACES):
        packets = sent(layout, number, seconds)
        if script is not None:
            packets = disturbed(packets, parse_faults(resources.text("radio", script), script), layout, place, place)
        streams.append([(at_ns, number, payload) for at_ns, payload in packets])
    items: list[Item] = []
    for k, (at_ns, number, payload) in enumerate(heapq.merge(*streams)):
        items.append(RawPacket(PLACES[number], at_ns, payload))
        if k % 37 == 0:
            items.append(Tick(at_ns))
    return items


def sensors(layout_name: str) -> Sensors:
    return Sensors(session_settings([(str(one), one) for one in PLACES], layout_name), 0)


Heard = tuple[dict[str, ImuBlock], list[tuple[float, Event]]]


def heard(batches: list[Batch]) -> Heard:
    """All samples of each sensor, and what is said with the session's time at which it is."""
    blocks: dict[str, list[ImuBlock]] = {}
    told: list[tuple[float, Event]] = []
    for batch in batches:
        told += [(batch.heard_s(place), one) for place, one in batch.told]
        for name, own in batch.own.items():
            blocks.setdefault(name, []).extend(one.block if isinstance(one, ImuRun) else one for one in own.blocks)
            assert [len(one) if isinstance(one, ImuRun) else 1 for one in own.blocks] == list(map(len, own.places))
            in_order = [place for places in own.places for place in places]
            assert in_order == sorted(in_order)
    return {name: joined(own) for name, own in blocks.items() if own}, told


def in_columns(batches: list[Batch]) -> float:
    """Part of the samples that came in runs."""
    blocks = [one for batch in batches for own in batch.own.values() for one in own.blocks]
    runs = sum(len(one.block.t_s) for one in blocks if isinstance(one, ImuRun))
    return runs / sum(len(one.block.t_s if isinstance(one, ImuRun) else one.t_s) for one in blocks)


@cache
def one_by_one(layout_name: str, script: str | None, seconds: float) -> tuple[list[Item], Sensors, Heard]:
    """The plain way: the items, the sensors after them, and what they told."""
    items = stream(parse_layout(resources.text("layouts", layout_name), layout_name), script, seconds)
    singly = sensors(layout_name)
    return items, singly, heard([Batch.of(list(singly.timed([item]))) for item in items])


def check(stride: int, layout_name: str, script: str | None, seconds: float) -> float:
    """Part of the samples that came in runs."""
    items, singly, (expected, expected_told) = one_by_one(layout_name, script, seconds)
    together = sensors(layout_name)
    many = [together.batch(items[k : k + stride]) for k in range(0, len(items), stride)]
    blocks, told = heard(many)
    assert blocks.keys() == expected.keys()
    for name, block in blocks.items():
        assert same(block, expected[name]), f"samples of {name} differ"
    assert same(told, expected_told)
    assert same(together.state, singly.state)
    assert same(together.totals(), singly.totals())
    return in_columns(many)


@pytest.mark.parametrize("script", resources.available("radio"))
@pytest.mark.parametrize("stride", [150, 2000])
def test_under_a_shipped_fault_script(script: str, stride: int) -> None:
    assert check(stride, "house", script, SECONDS) > 0.6


@pytest.mark.parametrize("layout_name", LAYOUTS)
def test_with_a_shipped_layout(layout_name: str) -> None:
    assert check(700, layout_name, None, 30.0) > 0.8
    check(700, layout_name, "worst_day", 30.0)


@pytest.mark.parametrize("seed", range(8))
def test_packets_that_come_again_or_change_places(seed: int) -> None:
    """In every way in which a few neighbours can, and with more or less time between them."""
    rng = np.random.default_rng(seed)
    packets = list(sent(parse_layout(resources.text("layouts", "house"), "house"), 0, 25.0))
    order = np.arange(len(packets)) + rng.uniform(0.0, 1.0, len(packets))
    late = rng.random(len(packets)) < 0.02
    order[late] += rng.choice([1.1, 1.1, 2.5, 12.0], np.count_nonzero(late))
    again = [(order[k] + rng.uniform(0.1, 10.0), packets[k][1]) for k in np.flatnonzero(rng.random(len(order)) < 0.02)]
    again += [(at + 0.5, payload[:-1] + b"x") for at, payload in again[::7]]
    came = sorted([*zip(order.tolist(), (payload for _, payload in packets), strict=True), *again])
    items: list[Item] = []
    for at, payload in came:
        host_ns = round(at * 20e6 + rng.choice([0.0, 1e6, 5e6, 40e6], p=[0.8, 0.1, 0.05, 0.05]))
        items.append(RawPacket(PLACES[0], host_ns, payload))
        if rng.random() < 0.02:
            items.append(Tick(host_ns + int(rng.integers(0, 40_000_000))))
    singly, together = sensors("house"), sensors("house")
    expected = heard([Batch.of(list(singly.timed([item]))) for item in items])
    many = [together.batch(items[k : k + 400]) for k in range(0, len(items), 400)]
    assert same(heard(many), expected)
    assert same(together.state, singly.state)
    assert same(together.totals(), singly.totals())
    assert in_columns(many) > 0.5


def test_there_is_no_other_layout() -> None:
    assert sorted(LAYOUTS) == sorted(resources.available("layouts"))
