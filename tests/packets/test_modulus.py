"""Counters whose modulus is stated, and counters that have another one than is stated."""

from __future__ import annotations

import msgspec
import numpy as np
import pytest
from packet_streams import decode, joined, layout_text, load, values

from imufeedback.errors import BadToml
from imufeedback.measure import clocks
from imufeedback.packets import Layout, encode, parse_layout
from imufeedback.packets.modulus import Rounds
from imufeedback.records import Flag, PacketRejected, RawPacket

MODULUS = load("example_modulus")


def stream(kind: Layout, numbers: range, per_packet: int = 32) -> list[RawPacket]:
    return [RawPacket("a", k * 32_000_000, encode(kind, k, per_packet * k, *values(k))) for k in numbers]


def test_both_counters_go_round_at_the_stated_modulus() -> None:
    blocks, rejected, decoder = decode(stream(MODULUS, range(1000)), MODULUS)
    assert not rejected
    assert decoder.counts.lost == 0
    ticks, _, _, flags = joined(blocks)
    assert not flags.any()
    assert set((np.diff(ticks) % 10_000).tolist()) == {8}
    assert ticks.max() < 10_000


def test_losses_are_counted_over_the_rounds() -> None:
    lost = {249, 250, 251, 312, 313, 500}
    items = [one for k, one in enumerate(stream(MODULUS, range(700))) if k not in lost]
    blocks, _, decoder = decode(items, MODULUS)
    assert decoder.counts.lost == 4 * len(lost)
    assert sum(int(one.flags[0] & Flag.GAP_BEFORE > 0) for one in blocks) == 3
    assert not any((one.flags & Flag.RESTART).any() for one in blocks)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"tick": 10_000}, "clock says 10000"),
        ({"tick": 65_535}, "correct modulus"),
        ({"sequence": 250}, "correct sequence_modulus"),
    ],
)
def test_a_counter_beyond_what_is_stated_contradicts_it(change: dict[str, int], words: str) -> None:
    wide = msgspec.structs.replace(
        MODULUS, counter=msgspec.structs.replace(MODULUS.counter, modulus=None), sequence_modulus=None
    )
    counters = {"sequence": 3, "tick": 17} | change
    packet = encode(wide, counters["sequence"], counters["tick"], *values(1))
    _, (rejected,), _ = decode([RawPacket("a", 0, packet)], MODULUS)
    assert isinstance(rejected, PacketRejected)
    assert words in rejected.reason


@pytest.mark.parametrize("modulus", [10_000, 1_000, 60_000, 65_000, 4_096, 9_973])
def test_a_clock_with_another_modulus_is_told_with_what_to_write(modulus: int) -> None:
    assert clocks.of_other_modulus(np.random.default_rng(modulus), clock=modulus)


@pytest.mark.parametrize("modulus", [254, 250, 200, 100])
def test_a_number_with_another_modulus_is_told_with_what_to_write(modulus: int) -> None:
    assert clocks.of_other_modulus(np.random.default_rng(modulus), number=modulus)


@pytest.mark.parametrize("name", clocks.LAYOUTS)
def test_losses_and_restarts_accuse_no_layout(name: str) -> None:
    assert clocks.accused(load(name), np.random.default_rng(2)) == 0


def test_it_is_told_once_and_never_by_counts_that_differ() -> None:
    rounds = Rounds()
    assert [rounds.take(one) for one in (10_000, 9_999, 10_001, 10_000, 10_000)] == [None, None, 10_000, None, None]
    rounds = Rounds()
    assert [rounds.take(one) for one in (812, 40_100, 10_000, 9_000)] == [None] * 4
    rounds = Rounds()
    assert [rounds.take(500), rounds.take(500)] == [None, None]
    rounds.as_stated()
    assert rounds.take(500) is None


@pytest.mark.parametrize(
    ("was", "now", "words"),
    [
        ("\nmodulus = 10000", "\nmodulus = 70000", ["modulus", "65536"]),
        ("\nmodulus = 10000", "\nmodulus = 100", ["counter.modulus", "packets"]),
        ("sequence_modulus = 250", "sequence_modulus = 300", ["sequence_modulus", "256"]),
        ("sequence_modulus = 250", "sequence_modulus = 4", ["sequence_modulus"]),
        ('{ name = "sequence", type = "u8" }', '{ name = "skip", type = "u8" }', ["sequence_modulus", "no sequence"]),
    ],
)
def test_a_modulus_that_makes_no_sense_is_refused(was: str, now: str, words: list[str]) -> None:
    text = layout_text("example_modulus")
    assert was in text
    with pytest.raises(BadToml) as error:
        parse_layout(text.replace(was, now), "x.toml")
    assert all(word in str(error.value) for word in words), str(error.value)
