"""Wild host times: one carries nothing away, many that agree are believed, and every item comes out, or is told."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from imufeedback.records import Command, Item, Notice, PacketRejected, RawPacket, Tick
from imufeedback.timing import Instants
from imufeedback.timing.instants import LONE_NS, START_NS, WILD_NS, WITNESSES

STEP_NS = 7_000_000
END_NS = 2**63 - 1


def packets(count: int, begin_ns: int = 0, first: int = 0) -> list[Item]:
    """Three sensors in turn; the payload is the packet's number."""
    return [RawPacket(f"s{k % 3}", begin_ns + k * STEP_NS, bytes([(first + k) % 256])) for k in range(count)]


def through(items: list[Item], origin_ns: int = 0) -> list[Item | PacketRejected | Notice]:
    stage, many, half = Instants(origin_ns), Instants(origin_ns), len(items) // 2
    out = [*itertools.chain.from_iterable(map(stage.feed, items)), *stage.finish()]
    assert [*many.feed_many(items[:half]), *many.feed_many(items[half:]), *many.finish()] == out
    assert many.state == stage.state
    return out


def kept(out: list[Item | PacketRejected | Notice]) -> list[RawPacket]:
    return [one for one in out if isinstance(one, RawPacket)]


wild_ns = st.one_of(
    st.sampled_from([END_NS, -END_NS, 10**18]),
    st.integers(3 * LONE_NS, END_NS),
    st.integers(-END_NS, -3 * WILD_NS),
)


@given(wild_ns, st.integers(1, 99))
def test_a_packet_with_a_wild_time_is_rejected_and_all_others_stay(host_ns: int, at: int) -> None:
    items = packets(100)
    good = [*items[:at], *items[at + 1 :]]
    items[at] = RawPacket("s0", host_ns, b"wild")
    out = through(items)
    assert kept(out) == good
    (told,) = [one for one in out if not isinstance(one, RawPacket)]
    assert isinstance(told, PacketRejected)
    assert "its time is" in told.reason


@given(wild_ns, st.integers(1, 99))
def test_a_command_with_a_wild_time_counts_as_of_now(host_ns: int, at: int) -> None:
    items = packets(100)
    items.insert(at, Command(host_ns, "zero"))
    out = through(items)
    (command,) = [one for one in out if isinstance(one, Command)]
    assert command.host_ns <= items[-1].host_ns
    assert kept(out) == packets(100)


@given(st.integers(WILD_NS + 1, 10**18), st.integers(1, 90))
def test_a_long_silence_stays_as_long_as_it_was(gap_ns: int, at: int) -> None:
    items = [*packets(at), *packets(20, at * STEP_NS + gap_ns, at)]
    assert through(items) == items


@given(st.integers(2 * WILD_NS, END_NS // 2), st.integers(1, 90))
def test_times_that_go_back_are_counted_on(back_ns: int, at: int) -> None:
    out = through([*packets(at), *packets(50, at * STEP_NS - back_ns, at)])
    assert [one.payload for one in kept(out)] == [one.payload for one in kept(list(packets(at + 50)))]
    times = [one.host_ns for one in kept(out)]
    assert times == sorted(times)
    assert times[-1] <= (at + 50) * STEP_NS
    assert sum(isinstance(one, Notice) for one in out) == 1


@given(st.one_of(st.integers(START_NS + WILD_NS, END_NS // 2), st.integers(-END_NS // 2, -2 * WILD_NS)))
def test_a_session_far_from_its_start_is_counted_from_there(begin_ns: int) -> None:
    out = through(packets(50, begin_ns))
    assert [one.host_ns for one in kept(out)] == [one.host_ns for one in packets(50)]


def test_a_sensor_with_a_clock_of_its_own_is_rejected_and_the_others_stay() -> None:
    items: list[Item] = [
        RawPacket(one.sensor, one.host_ns + 10**18, one.payload) if one.sensor == "s1" else one
        for one in kept(list(packets(300)))
    ]
    out = through(items)
    assert {one.sensor for one in kept(out)} == {"s0", "s2"}
    assert sum(isinstance(one, PacketRejected) for one in out) == 100


@given(st.lists(st.integers(-END_NS, END_NS), max_size=60))
def test_every_item_comes_out_or_is_told(times_ns: list[int]) -> None:
    items: list[Item] = [RawPacket("s", at, bytes([k])) for k, at in enumerate(times_ns)]
    out = through(items)
    rejected = sum(isinstance(one, PacketRejected) for one in out)
    assert len(kept(out)) + rejected == len(items)


def test_what_is_held_is_little() -> None:
    stage = Instants(0)
    stage.feed(Tick(1))
    out = [stage.feed(Tick(10**15 + k)) for k in range(WITNESSES)]
    assert [len(one) for one in out] == [0] * (WITNESSES - 1) + [WITNESSES]
