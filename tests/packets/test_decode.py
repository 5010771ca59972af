"""Decoding: order, loss, repeats, restarts, spreading of ticks, and bytes that make no sense."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from packet_streams import HOUSE, LOSSLESS, STEP_NS, decode, joined, packet, stream, values

from imufeedback.errors import UsageError
from imufeedback.packets import Decoder, encode
from imufeedback.records import DeviceBlock, Flag, PacketRejected, RawPacket, Tick, same


def test_a_clean_stream_comes_through_whole() -> None:
    blocks, rejected, decoder = decode(stream(50))
    tick, gyr, _, flags = joined(blocks)
    assert not rejected
    assert np.array_equal(tick, np.arange(200) * 5000)
    assert np.abs(gyr - np.concatenate([values(k)[0] for k in range(50)])).max() < np.radians(0.04)
    assert not flags.any()
    assert decoder.counts.samples == 200
    assert (decoder.counts.lost, decoder.counts.duplicates, decoder.counts.reordered) == (0, 0, 0)
    with pytest.raises(ValueError, match="read-only"):
        blocks[0].gyr_rad_s[0, 0] = 1.0


def test_h04_every_packet_twice_counts_once() -> None:
    clean = stream(100)
    twice = [one for p in clean for one in (p, RawPacket("a", p.host_ns + 1_000_000, p.payload))]
    blocks, _, decoder = decode(twice)
    assert same(joined(blocks), joined(decode(clean)[0]))
    assert decoder.counts.duplicates == 100
    assert decoder.counts.samples == 400
    assert decoder.counts.lost == 0


def test_h06_swapped_neighbours_are_put_right() -> None:
    clean = stream(500)
    shaken = list(clean)
    swaps = 0
    rng = np.random.default_rng(1)
    k = 0
    while k < len(shaken) - 1:
        if rng.random() < 0.02:
            a, b = shaken[k], shaken[k + 1]
            shaken[k] = RawPacket("a", b.host_ns, b.payload)
            shaken[k + 1] = RawPacket("a", b.host_ns + 300_000, a.payload)
            swaps += 1
            k += 1
        k += 1
    blocks, _, decoder = decode(shaken)
    assert swaps > 3
    assert same(joined(blocks), joined(decode(clean)[0]))
    assert decoder.counts.reordered == swaps
    assert decoder.counts.lost == 0
    assert decoder.counts.duplicates == 0


def test_loss_is_counted_and_flagged_on_the_first_sample_after() -> None:
    items = [p for k, p in enumerate(stream(30)) if k not in (10, 11)]
    blocks, _, decoder = decode(items)
    tick, _, _, flags = joined(blocks)
    assert decoder.counts.lost == 8
    assert np.flatnonzero(flags & Flag.GAP_BEFORE).tolist() == [40]
    assert tick[40] == 12 * 20_000
    assert (np.diff(tick) > 0).all()


def test_a_held_packet_waits_30_ms_at_most() -> None:
    decoder = Decoder("a", HOUSE, 0)
    decoder.feed(RawPacket("a", 0, packet(0)))
    assert decoder.feed(RawPacket("a", 40_000_000, packet(2))) == []
    assert decoder.feed(Tick(69_000_000)) == []
    (block,) = decoder.feed(Tick(70_000_000))
    assert isinstance(block, DeviceBlock)
    assert block.flags[0] == Flag.GAP_BEFORE
    late = decoder.feed(RawPacket("a", 80_000_000, packet(1)))
    assert isinstance(late[0], PacketRejected)
    assert decoder.counts.lost == 4


def test_a_full_window_releases_the_held_packets() -> None:
    decoder = Decoder("a", HOUSE, 0)
    decoder.feed(RawPacket("a", 0, packet(0)))
    for k in (2, 3, 4):
        assert decoder.feed(RawPacket("a", k, packet(k))) == []
    out = decoder.feed(RawPacket("a", 5, packet(5)))
    assert [int(b.tick[0]) for b in out if isinstance(b, DeviceBlock)] == [40_000, 60_000, 80_000, 100_000]


def test_h07_the_first_number_is_the_start() -> None:
    _, rejected, decoder = decode(stream(5, first=37))
    assert not rejected
    assert decoder.counts.lost == 0


def test_h09_wrong_lengths_are_rejected_and_never_half_decoded() -> None:
    items = stream(40)
    for k in (5, 15):
        items[k] = RawPacket("a", items[k].host_ns, items[k].payload[:20])
    items[25] = RawPacket("a", items[25].host_ns, items[25].payload + b"\x00")
    blocks, rejected, decoder = decode(items)
    assert len(rejected) == decoder.counts.rejected == 3
    assert "20 bytes" in rejected[0].reason
    assert rejected[0].t_s == pytest.approx(0.1)
    assert {len(b.tick) for b in blocks} == {4}
    assert decoder.counts.lost == 12


def test_wrong_version_and_no_samples_are_rejected() -> None:
    good = packet(0)
    _, rejected, _ = decode([RawPacket("a", 0, bytes([2]) + good[1:]), RawPacket("a", 1, bytes([1, 0]) + good[2:])])
    assert "version 2" in rejected[0].reason
    assert "0 samples" in rejected[1].reason


def test_h27_wrap_of_number_and_tick() -> None:
    n = 300
    items = [
        RawPacket("a", k * STEP_NS, packet(k, first=65_400, tick=(2**32 - 2_000_000 + 20_000 * k) % 2**32))
        for k in range(n)
    ]
    blocks, rejected, decoder = decode(items)
    tick = joined(blocks)[0]
    assert not rejected
    assert decoder.counts.lost == 0
    assert not joined(blocks)[3].any()
    assert set(np.diff(tick) % 2**32) == {5000}
    assert tick.min() >= 0
    assert tick.max() < 2**32


@pytest.mark.parametrize("length", [5, 40, 3000, 40_000])
def test_h28_a_restart_is_flagged_and_the_stream_goes_on(length: int) -> None:
    before = [RawPacket("a", k * STEP_NS, packet(k)) for k in range(length - 5, length)]
    after = [RawPacket("a", (length + 100 + k) * STEP_NS, packet(k, seed=10**6 + k)) for k in range(50)]
    blocks, rejected, decoder = decode(before + after)
    assert not rejected
    assert len(blocks) == 55
    assert [int(b.flags[0]) for b in blocks] == [0] * 5 + [int(Flag.RESTART)] + [0] * 49
    assert blocks[5].tick[0] == 0
    assert decoder.counts.lost == 0


def test_h28_a_restart_without_delay() -> None:
    before = [RawPacket("a", k * STEP_NS, packet(k, first=30_000, tick=600_000_000 + 20_000 * k)) for k in range(9)]
    after = [RawPacket("a", (9 + k) * STEP_NS, packet(k)) for k in range(9)]
    blocks, _, decoder = decode(before + after)
    flags = [int(b.flags[0]) for b in blocks]
    assert flags == [0] * 9 + [int(Flag.RESTART)] + [0] * 8
    assert decoder.counts.duplicates == 0


def test_a_burst_after_a_stall_is_neither_loss_nor_restart() -> None:
    items = stream(200)
    stalled = [RawPacket("a", max(p.host_ns, 3_000_000_000), p.payload) for p in items]
    blocks, rejected, decoder = decode(stalled)
    assert not rejected
    assert not joined(blocks)[3].any()
    assert decoder.counts.lost == 0


def test_an_overflowing_queue_is_loss_not_restart() -> None:
    """Oldest packets of a stall come late, the newest were thrown away: tick and number jump ahead of the arrivals."""
    items = [RawPacket("a", 5_000_000_000 + k, packet(k)) for k in range(50)]
    items += [RawPacket("a", 5_000_000_100 + k * STEP_NS, packet(200 + k)) for k in range(10)]
    blocks, _, decoder = decode(items)
    assert not (joined(blocks)[3] & Flag.RESTART).any()
    assert decoder.counts.lost == 150 * 4


def test_h31_ticks_inside_a_packet_follow_the_measured_period() -> None:
    period = 5150  # 3 % slow
    items = [RawPacket("a", k * 20_600_000, packet(k, tick=k * 4 * period)) for k in range(60)]
    tick = joined(decode(items)[0])[0]
    assert set(np.diff(tick[4:])) == {period}


def test_saturation_is_flagged_within_one_percent_of_full_scale() -> None:
    gyr = np.radians([[1975, 0, 0], [1981, 0, 0], [0, -1999, 0], [0, 0, 100.0]])
    acc = np.full((4, 3), 9.0)
    blocks, _, decoder = decode([RawPacket("a", 0, encode(HOUSE, 0, 0, gyr, acc))])
    assert blocks[0].flags.tolist() == [0, Flag.SATURATED, Flag.SATURATED, 0]
    assert decoder.counts.saturated == 2


def test_nothing_and_no_number_are_invalid() -> None:
    gyr, acc = values(1)
    gyr[1] = acc[1] = 0.0
    blocks, _, _ = decode([RawPacket("a", 0, encode(HOUSE, 0, 0, gyr, acc))])
    assert blocks[0].flags.tolist() == [0, Flag.INVALID, 0, 0]
    gyr[2, 1] = np.nan
    acc[3, 0] = np.inf
    blocks, _, _ = decode([RawPacket("a", 0, encode(LOSSLESS, 0, 0, gyr, acc, range(4)))], LOSSLESS)
    assert blocks[0].flags.tolist() == [0, Flag.INVALID, Flag.INVALID, Flag.INVALID]


def test_h20_a_packet_of_another_sensor_is_misuse() -> None:
    with pytest.raises(UsageError, match="one decoder per sensor"):
        Decoder("a", HOUSE, 0).feed(RawPacket("b", 0, packet(0)))


def _disturbed(seed: int) -> list[RawPacket]:
    rng = np.random.default_rng(seed)
    out: list[RawPacket] = []
    for p in stream(120):
        chance = rng.random()
        if chance < 0.05:
            continue
        out.append(p)
        if chance < 0.10:
            out.append(RawPacket("a", p.host_ns + 1000, p.payload))
        elif chance < 0.15 and len(out) > 1:
            out[-1], out[-2] = out[-2], out[-1]
    return out


@given(st.integers(0, 10_000), st.integers(0, 110))
@settings(max_examples=30, deadline=None)
def test_first_half_and_restored_state_and_second_half_are_the_whole(seed: int, cut: int) -> None:
    items = _disturbed(seed)
    whole, first, second = (Decoder("a", HOUSE, 0) for _ in range(3))
    expected = [one for p in items for one in whole.feed(p)] + whole.finish()
    got = [one for p in items[:cut] for one in first.feed(p)]
    second.state = first.state
    first.feed(items[-1])  # what the first does now is nothing to the second
    got += [one for p in items[cut:] for one in second.feed(p)] + second.finish()
    assert same(got, expected)
    assert second.counts == whole.counts


@given(st.integers(0, 10_000))
@settings(max_examples=30, deadline=None)
def test_what_was_sent_is_delivered_or_lost(seed: int) -> None:
    items = _disturbed(seed)
    blocks, _, decoder = decode(items)
    tick = joined(blocks)[0]
    assert (np.diff(tick) > 0).all()
    sent = (tick[-1] - tick[0]) // 5000 + 1
    assert decoder.counts.samples + decoder.counts.lost == sent


PAYLOADS = st.binary(max_size=80) | st.builds(
    lambda k, cut, flip: bytes(b ^ flip if i == cut % 56 else b for i, b in enumerate(packet(k)))[: cut or 56],
    st.integers(0, 70_000),
    st.integers(0, 60),
    st.integers(0, 255),
)


@given(st.lists(st.tuples(st.integers(-(10**9), 10**10), PAYLOADS), max_size=40), st.sampled_from([HOUSE, LOSSLESS]))
@settings(max_examples=150, deadline=None)
def test_no_payload_makes_it_raise(items: list[tuple[int, bytes]], layout) -> None:  # type: ignore[no-untyped-def]
    decoder = Decoder("a", layout, 0)
    out = [one for host_ns, data in items for one in decoder.feed(RawPacket("a", host_ns, data))] + decoder.finish()
    blocks = [one for one in out if isinstance(one, DeviceBlock)]
    assert sum(len(b.tick) for b in blocks) == decoder.counts.samples
    assert decoder.counts.rejected == len(out) - len(blocks)


@given(st.lists(st.binary(min_size=8 + 56, max_size=8 + 56), min_size=1, max_size=5))
@settings(max_examples=100, deadline=None)
def test_any_float_bits_decode_without_a_warning(bodies: list[bytes]) -> None:
    header = bytes([1, 0, 1, 0])
    for k, body in enumerate(bodies):
        blocks, _, _ = decode([RawPacket("a", k, header + body[:4] + body[8:])], LOSSLESS)
        assert len(blocks) == 1
