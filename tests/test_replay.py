"""The main regression test: a recording judged again gives exactly the events that were given live.

The live side is the whole way: virtual sensors, radio, client, session, journal.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import pytest

from imufeedback.ble.clock import ManualClock
from imufeedback.demo import Demo, DemoPlan, run_inline
from imufeedback.pipeline import Pipeline, run
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Angles, Cue, Event, Finding, Fitted, Item, Link, RawPacket, Rep, SensorTotals, same
from imufeedback.session import Session
from imufeedback.synth.player import Pace
from imufeedback.synth.swing import Flaw


@dataclass(frozen=True)
class Live:
    items: list[Item]
    events: list[Event]
    recording: Path


@pytest.fixture(name="live", scope="module")
def play_live(tmp_path_factory: pytest.TempPathFactory) -> Live:
    """A demo of two reps at full pace through the virtual radio, as fast as it goes."""
    demo = Demo(DemoPlan(pace=Pace.FULL, flaw=Flaw.STALL, reps=2, seed=4, realtime=False), ManualClock())
    items: list[Item] = []
    events: list[Event] = []
    with JournalWriter(tmp_path_factory.mktemp("live") / "demo.mcap") as journal:
        session = Session(demo.settings, begin_ns=demo.begin_ns, journal=journal, sinks=[events.extend])

        def feed(item: Item) -> None:
            items.append(item)
            session.feed(item)

        run_inline(demo, feed)
        session.finish()
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
    assert_same(list(run(recording)), live.events)
    assert recording.notes == []
    assert recording.complete


def test_replaying_twice_changes_nothing(live: Live) -> None:
    recording = read_items(live.recording)
    first = list(islice(run(recording), 300))
    assert_same(list(islice(run(recording), 300)), first)


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
    events = list(run(recording))
    assert any("missing" in note or "damaged" in note for note in recording.notes)
    assert sum(isinstance(one, Rep) for one in events) == 2
    totals = [one for one in events if isinstance(one, SensorTotals)]
    assert sum(one.lost for one in totals) == 4
