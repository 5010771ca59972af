"""Counters of other widths and units, and packets without a number: roll-over, restart, loss, repeats."""

from __future__ import annotations

import numpy as np
import pytest
from packet_streams import decode, joined, values

from imufeedback.packets import Layout, encode, parse_layout
from imufeedback.records import Flag, RawPacket

TEXT = """
name = "other"
byte_order = "little"
rate_hz = 100.0
samples_per_packet = 2
header = [{header}]
sample = [
    {{ name = "gyr_x", type = "i16" }}, {{ name = "gyr_y", type = "i16" }}, {{ name = "gyr_z", type = "i16" }},
    {{ name = "acc_x", type = "i16" }}, {{ name = "acc_y", type = "i16" }}, {{ name = "acc_z", type = "i16" }},
]
[counter]
bits = {bits}
unit_s = {unit_s}
[gyr]
unit = "deg/s"
scale = 0.06
[acc]
unit = "g"
scale = 0.0005
"""
NUMBERED = '{ name = "sequence", type = "u8" }, { name = "tick", type = "u32" }'
BARE = '{ name = "tick", type = "u32" }'


def layout(bits: int, unit_s: float, header: str = NUMBERED) -> Layout:
    return parse_layout(TEXT.format(bits=bits, unit_s=unit_s, header=header), "other.toml")


def item(kind: Layout, host_ms: int, sequence: int, tick: int, seed: int) -> RawPacket:
    gyr, acc = values(seed, 2)
    return RawPacket("a", host_ms * 1_000_000, encode(kind, sequence, tick, gyr, acc))


@pytest.mark.parametrize(("bits", "unit_s"), [(8, 1e-3), (16, 1e-3), (24, 1e-6), (32, 1e-6)])
def test_h27_roll_over_of_every_width(bits: int, unit_s: float) -> None:
    kind = layout(bits, unit_s)
    step = round(0.020 / unit_s)
    start = 2**bits - 5 * step - 1
    items = [item(kind, 20 * k, k, start + step * k, k) for k in range(600)]
    blocks, rejected, decoder = decode(items, kind)
    assert not rejected
    assert decoder.counts.lost == 0
    assert not joined(blocks)[3].any()
    firsts = np.array([int(b.tick[0]) for b in blocks])
    assert set(np.diff(firsts) % 2**bits) == {step}


@pytest.mark.parametrize(
    ("tick", "sequence", "waited_ms", "flag"),
    [(10, 10, 46, 0), (30_005, 0, 20, Flag.RESTART), (10, 0, 5000, Flag.RESTART)],
    ids=["roll-over", "restart", "restart that looks like a roll-over"],
)
def test_h28_roll_over_or_restart(tick: int, sequence: int, waited_ms: int, flag: int) -> None:
    """16 bits of milliseconds, 65,460, 65,480, 65,500, then this one."""
    kind = layout(16, 1e-3)
    items = [item(kind, 20 * k, 7 + k, 65_460 + 20 * k, k) for k in range(3)]
    items.append(item(kind, 40 + waited_ms, sequence, tick, 99))
    blocks, rejected, _ = decode(items, kind)
    assert not rejected
    assert blocks[-1].flags[0] & Flag.RESTART == flag
    assert blocks[-1].tick[0] == tick


def test_a_long_loss_with_a_short_number_is_counted_by_the_ticks() -> None:
    """8 bits of packet number come round in 5.1 s; 10 s are lost."""
    kind = layout(32, 1e-6)
    items = [item(kind, 20 * k, k, 20_000 * k, k) for k in [*range(20), *range(520, 540)]]
    blocks, _, decoder = decode(items, kind)
    assert decoder.counts.lost == 500 * 2
    assert [int(b.flags[0]) for b in blocks] == [0] * 20 + [int(Flag.GAP_BEFORE)] + [0] * 19


def test_packets_without_a_number() -> None:
    kind = layout(32, 1e-6, BARE)
    items = [item(kind, 20 * k, 0, 20_000 * k, k) for k in range(20) if k != 12]
    twice = [one for p in items for one in (p, RawPacket("a", p.host_ns + 1_000_000, p.payload))]
    blocks, rejected, decoder = decode(twice, kind)
    assert not rejected
    assert len(blocks) == 19
    assert decoder.counts.duplicates == 19
    assert decoder.counts.lost == 2
    assert blocks[12].flags.tolist() == [Flag.GAP_BEFORE, 0]
