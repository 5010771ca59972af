"""The main regression test: a recording judged again gives exactly the events that were given live.

The live side is the whole way: virtual sensors, radio, client, session, journal.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from imufeedback import recursions, threads
from imufeedback.errors import NoRecording
from imufeedback.live.golfer import DemoPlan, VirtualGolfer
from imufeedback.live.playback import Playback
from imufeedback.live.practice import Practice
from imufeedback.live.session import Session
from imufeedback.pipeline import Pipeline, run
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import (
    Angles,
    Command,
    Cue,
    Event,
    Finding,
    Fitted,
    Floats,
    Item,
    Link,
    RawPacket,
    Rep,
    SensorTotals,
    Tick,
    same,
)
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace


@dataclass(frozen=True)
class Live:
    items: list[Item]
    events: list[Event]
    recording: Path


@pytest.fixture(name="live", scope="module")
def play_live(tmp_path_factory: pytest.TempPathFactory) -> Live:
    """A demo of two reps at full pace through the virtual radio, as fast as it goes."""
    golfer = VirtualGolfer(DemoPlan(pace=Pace.FULL, flaw=Flaw.STALL, reps=2, seed=4, realtime=False, sensors="ideal"))
    events: list[Event] = []
    items: list[Item] = []

    class Overheard(Session):
        def feed_many(self, given: Sequence[Item]) -> None:
            items.extend(given)
            super().feed_many(given)

    journal = JournalWriter(tmp_path_factory.mktemp("live") / "demo.mcap")
    Practice(golfer, journal, [events.extend], make_session=Overheard).run()
    assert journal.error is None
    return Live(items, events, journal.path)


def assert_same(ours: list[Event], theirs: list[Event]) -> None:
    """Event by event, so that a failure names the first that differs."""
    for k, (one, other) in enumerate(zip(ours, theirs, strict=False)):
        assert same(one, other), f"event {k}: {type(one).__name__} and {type(other).__name__}"
    assert len(ours) == len(theirs)


def test_the_live_session_had_all_there_is(live: Live) -> None:
    kinds = {type(one) for one in live.events}
    assert kinds >= {Angles, Cue, Finding, Fitted, Link, Rep, SensorTotals}
    assert sum(isinstance(one, Rep) for one in live.events) == 2


def test_replay_gives_exactly_the_live_events(live: Live) -> None:
    recording = read_items(live.recording)
    assert_same(list(run(recording, 1)), live.events)
    assert recording.notes == []
    assert recording.complete


# ── a stretch at a time ──────────────────────────────────────────────────────────────────────────────────────────


def spoiled(items: list[Item], seed: int) -> Iterator[Item]:
    """The same session on a bad day: losses, repeats, packets out of order, a sensor that is away for a while, data
    that come late, a packet cut short, the held tone switched on, and time that passes."""
    rng = np.random.default_rng(seed)
    first, last = items[0].host_ns, items[-1].host_ns
    away = first + int((last - first) * rng.uniform(0.6, 0.9))
    late = first + int((last - first) * rng.uniform(0.5, 0.8))
    sensors = sorted({one.sensor for one in items if isinstance(one, RawPacket)})
    kept: Item | None = None
    for k, item in enumerate(items):
        if k == 3:
            yield Command(item.host_ns, "cue", {"sound": "losing", "on": True})
        if not isinstance(item, RawPacket):
            yield item
            continue
        if item.sensor == sensors[seed % 3] and 0 < item.host_ns - away < 700_000_000:
            continue
        if 0 < item.host_ns - late < 2_000_000_000:
            item = replace(item, host_ns=item.host_ns + 700_000_000)
        chance = rng.random()
        if chance < 0.01:
            continue
        if chance < 0.02:
            yield item
        elif chance < 0.03 and kept is None:
            kept = item
            continue
        elif chance < 0.035:
            item = replace(item, payload=item.payload[:-3])
        yield item
        if kept is not None:
            yield kept
            kept = None
        if k % 50 == 0:
            yield Tick(item.host_ns)


@pytest.fixture(scope="module", params=[None, 1, 2, 3])
def singly(live: Live, request: pytest.FixtureRequest) -> tuple[list[Item], list[Event]]:
    """The session as it was, and spoiled in three ways, with the events of feeding item by item."""
    whole = list(read_items(live.recording))
    items = whole if request.param is None else list(spoiled(whole, request.param))
    pipeline = Pipeline()
    return items, [event for item in items for event in pipeline.feed(item)] + pipeline.finish()


@pytest.mark.parametrize("stride", [500, *(pytest.param(one, marks=pytest.mark.full) for one in (7, 5000))])
def test_a_stretch_at_a_time_gives_the_same_events(singly: tuple[list[Item], list[Event]], stride: int) -> None:
    """Every event, in its order; angles to 1e-9 rad, in longer blocks. Strides below the least for columns and longer
    than a rep are in the long form, and in the contract of the pipeline."""
    items, ones = singly
    together = Pipeline()
    many = [event for k in range(0, len(items), stride) for event in together.feed_many(items[k : k + stride])]
    many += together.finish()
    assert_alike(without_angles(many), without_angles(ones))
    assert_alike_angles(many, ones)
    assert stride < 500 or sum(map(is_angles, many)) < 0.95 * sum(map(is_angles, ones))


@pytest.mark.skipif(recursions.core is None, reason="it was built without a compiler")
def test_without_the_compiled_form_the_events_are_the_same(
    singly: tuple[list[Item], list[Event]], monkeypatch: pytest.MonkeyPatch
) -> None:
    items, ones = singly
    monkeypatch.setattr(recursions, "core", None)
    plain = list(run(items, 500))
    assert_alike(without_angles(plain), without_angles(ones))
    assert_alike_angles(plain, ones)


def jumping(items: list[Item]) -> list[Item]:
    """The same session with a day's silence after the calibration, one wild time, and times that go back for good."""
    one, two = int(0.7 * len(items)), int(0.85 * len(items))
    by_s = [0] * one + [86_400] * (two - one) + [-3600] * (len(items) - two)
    out = [replace(item, host_ns=item.host_ns + by * 10**9) for item, by in zip(items, by_s, strict=True)]
    out[one // 2] = replace(out[one // 2], host_ns=2**63 - 1)
    return out


@pytest.mark.parametrize("stride", [500, pytest.param(7, marks=pytest.mark.full)])
def test_a_stretch_at_a_time_gives_the_same_events_where_times_jump(live: Live, stride: int) -> None:
    items = jumping(list(read_items(live.recording)))
    singly, together = Pipeline(), Pipeline()
    ones = [event for item in items for event in singly.feed(item)] + singly.finish()
    many = [event for k in range(0, len(items), stride) for event in together.feed_many(items[k : k + stride])]
    many += together.finish()
    assert_alike(without_angles(many), without_angles(ones))
    assert_alike_angles(many, ones)


def is_angles(event: Event) -> bool:
    return isinstance(event, Angles)


def without_angles(events: list[Event]) -> list[Event]:
    return [one for one in events if not is_angles(one)]


def assert_alike(ours: list[Event], theirs: list[Event]) -> None:
    for k, (one, other) in enumerate(zip(ours, theirs, strict=False)):
        assert alike(one, other), f"event {k}: {one} and {other}"
    assert len(ours) == len(theirs)


def alike(one: object, other: object) -> bool:
    """Equal, numbers to rounding."""
    if isinstance(one, float) and isinstance(other, float):
        return bool(np.isclose(one, other, rtol=0.0, atol=1e-9, equal_nan=True))
    if isinstance(one, np.ndarray) and isinstance(other, np.ndarray) and one.dtype == other.dtype == np.float64:
        return one.shape == other.shape and bool(np.allclose(one, other, rtol=0.0, atol=1e-9, equal_nan=True))
    if is_dataclass(one) and not isinstance(one, type):
        names = [field.name for field in fields(one)]
        return type(one) is type(other) and all(alike(getattr(one, name), getattr(other, name)) for name in names)
    if isinstance(one, dict) and isinstance(other, dict):
        return one.keys() == other.keys() and all(alike(one[key], other[key]) for key in one)
    if isinstance(one, list | tuple) and isinstance(other, list | tuple):
        return len(one) == len(other) and all(map(alike, one, other))
    return same(one, other)


def assert_alike_angles(ours: list[Event], theirs: list[Event]) -> None:
    one, other = (table([event for event in events if isinstance(event, Angles)]) for events in (ours, theirs))
    assert one.shape == other.shape
    assert np.array_equal(np.isnan(one), np.isnan(other))
    np.testing.assert_allclose(one, other, rtol=0.0, atol=1e-9)


def table(blocks: list[Angles]) -> Floats:
    """Time, angles, rates, standard deviations and whether they are known, one row an instant."""
    parts = []
    for block in blocks:
        columns = [block.t_s[:, None]]
        for one in (block.pelvis, *block.joints):
            columns += [one.angle_rad, one.rate_rad_s, one.sd_rad, one.ok]
        parts.append(np.hstack(columns))
    return np.concatenate(parts)


def test_a_recording_played_back_through_the_live_door_gives_the_live_events(
    live: Live, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Source's thread, engine's thread and a recording of its own, as in a session with sensors. The engine works off
    what waits in one call, so blocks of angles may be longer."""
    monkeypatch.setattr(threads, "first_turn", lambda: False)  # work without a pause must not go before all others
    events: list[Event] = []
    journal = JournalWriter(tmp_path / "again.mcap")
    over = threading.Event()
    practice = Practice(
        Playback(read_items(live.recording), hurry_ns=math.inf), journal, [events.extend], over.set, open_sound=None
    )
    practice.start()
    assert over.wait(600.0)
    practice.stop(600.0)
    assert practice.error is None
    assert_alike(without_angles(events), without_angles(live.events))
    assert_alike_angles(events, live.events)
    again = read_items(journal.path)
    assert list(again) == list(read_items(live.recording))
    assert again.complete


def test_a_recording_is_played_back_at_the_pace_of_life_and_can_be_stopped(live: Live) -> None:
    """From 1.2 s of it on; what comes before is put at once, and what comes after the stop is not put."""
    items = list(read_items(live.recording))
    hurry_ns = items[0].host_ns + 1_200_000_000
    go = threading.Event()
    playback = Playback(items, hurry_ns=hurry_ns, go=go)
    given: list[tuple[int, Item]] = []

    def put(item: Item) -> None:
        given.append((playback.clock.now_ns(), item))
        if item.host_ns > hurry_ns + 300_000_000:
            playback.stop()

    thread = threading.Thread(target=playback.play, args=(put,))
    thread.start()
    assert playback.hurried.wait(20.0)
    early = [item for item in items[1:] if item.host_ns < hurry_ns]
    assert [item for _, item in given] == early
    go.set()
    thread.join(20.0)
    assert [item for _, item in given] == items[1 : len(given) + 1]
    assert given[-1][1].host_ns < hurry_ns + 400_000_000
    assert all(now_ns >= item.host_ns for now_ns, item in given[len(early) :])


@pytest.mark.parametrize("items", [[], [RawPacket("A", 0, b"")]])
def test_a_recording_without_its_beginning_cannot_be_played_back(items: list[Item]) -> None:
    with pytest.raises(NoRecording, match="beginning"):
        Playback(items)


def test_replaying_twice_changes_nothing(live: Live) -> None:
    recording = read_items(live.recording)
    first = list(islice(run(recording, 1), 300))
    assert_same(list(islice(run(recording, 1), 300)), first)


@pytest.mark.parametrize("part", [0.37, 0.8])
def test_a_torn_recording_gives_the_same_events_up_to_the_tear(live: Live, tmp_path: Path, part: float) -> None:
    data = live.recording.read_bytes()
    torn = tmp_path / "torn.mcap"
    torn.write_bytes(data[: int(len(data) * part)])
    recording = read_items(torn)
    pipeline, events, count = Pipeline(), [], 0
    for item in recording:
        events += pipeline.feed(item)
        count += 1
    assert not recording.complete
    assert "breaks off" in recording.notes[0]
    assert_same(events, live.events[: len(events)])
    # nothing that is whole in the file is left out: the journal has the command begin before the items
    expected = Pipeline()
    begun = next(iter(read_items(live.recording)))
    up_to = [expected.feed(one) for one in [begun, *live.items[: count - 1]]]
    assert len(events) == sum(len(one) for one in up_to)
    assert count > part * 0.9 * len(live.items)


def test_a_damaged_packet_costs_itself_only(live: Live, tmp_path: Path) -> None:
    """One flipped byte inside one message: that packet is lost, told in a note, and the reps are still found."""
    packets = [one for one in live.items if isinstance(one, RawPacket)]
    data = bytearray(live.recording.read_bytes())
    at = data.index(packets[len(packets) // 2].payload)
    data[at + 5] ^= 0xFF
    damaged = tmp_path / "damaged.mcap"
    damaged.write_bytes(bytes(data))
    recording = read_items(damaged)
    events = list(run(recording, 1))
    assert any("missing" in note or "damaged" in note for note in recording.notes)
    assert sum(isinstance(one, Rep) for one in events) == 2
    totals = [one for one in events if isinstance(one, SensorTotals)]
    assert sum(one.lost for one in totals) == 4
