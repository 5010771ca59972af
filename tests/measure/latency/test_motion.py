"""The golfer who stalls, and the radio with connection events; and what a busy program does to his tones."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, SetFit, recorded
from imufeedback.measure.latency.motion import (
    AIR_S,
    INTERVAL_S,
    SENSOR_WORK_S,
    STROKE_RAD,
    known_fit,
    radio_streams,
    stall_script,
)
from imufeedback.packets import Layout, parse_layout
from imufeedback.pipeline import Pipeline
from imufeedback.records import Angles, Cue, Event, Item, Notice, RawPacket
from imufeedback.synth.stream import raw_packets

SECONDS, SEED = 8.0, 3


def house() -> Layout:
    return parse_layout(resources.text("layouts", "house"), "house")


@cache
def items() -> tuple[Item, ...]:
    """A whole session, packets in order of arrival."""
    streams = radio_streams(stall_script(SECONDS, SEED), house())
    settings = session_settings(((stream.serial, stream.segment) for stream in streams), "house")
    begin = recorded(0, Begin.of(settings))
    return (begin, recorded(0, SetFit.of(known_fit(SEED))), *raw_packets(streams))  # type: ignore[arg-type]


def play(stream: tuple[Item, ...]) -> list[tuple[Item, Event]]:
    pipeline = Pipeline()
    return [(item, event) for item in stream for event in pipeline.feed(item)]


def test_every_stroke_gives_one_tone():
    cues = [event for _, event in play(items()) if isinstance(event, Cue) and event.sound == "stalled"]
    assert len(cues) >= 6
    gaps = np.diff([one.t_s for one in cues])
    assert gaps.min() > 0.45
    assert gaps.max() < 0.75
    assert np.degrees(STROKE_RAD) == pytest.approx(12.0)


def test_the_same_seed_gives_the_same_packets_and_another_one_others():
    def payloads(seed: int) -> list[bytes]:
        return [payload for _, payload in radio_streams(stall_script(6.0, seed), house())[0]]

    assert payloads(1) == payloads(1)
    assert payloads(1) != payloads(2)


def test_packets_arrive_at_connection_events_and_never_before_they_are_full():
    for stream in radio_streams(stall_script(6.0, SEED), house()):
        for (ready_ns, _), (arrives_ns, _) in zip(stream.samples, stream, strict=True):
            waited_s = (arrives_ns - ready_ns) * 1e-9 - SENSOR_WORK_S - AIR_S
            assert -1e-6 <= waited_s <= INTERVAL_S + 1e-6
            events = (arrives_ns * 1e-9 - AIR_S - stream.anchor_s) / INTERVAL_S
            assert events == pytest.approx(round(events), abs=1e-4)


def held_up(stream: tuple[Item, ...], from_ns: int, to_ns: int) -> tuple[Item, ...]:
    """What arrives in a stretch is handed over at its end: the program was busy."""

    def late(item: Item) -> Item:
        if isinstance(item, RawPacket) and from_ns <= item.host_ns < to_ns:
            return RawPacket(item.sensor, to_ns, item.payload)
        return item

    return tuple(late(item) for item in stream)


def test_h11_two_seconds_held_up_make_no_tone_of_old_motion_and_leave_sample_times_alone():
    begin_ns, end_ns = 5_500_000_000, 7_500_000_000
    clean, busy = play(items()), play(held_up(items(), begin_ns, end_ns))
    inside = [e for _, e in clean if isinstance(e, Cue) and begin_ns <= e.t_s * 1e9 < end_ns - 0.2e9]
    assert inside, "without the delay there are tones in this stretch"
    cues = [(item, e) for item, e in busy if isinstance(e, Cue)]
    assert all(item.host_ns * 1e-9 - e.t_s <= 0.15 for item, e in cues)
    assert not [e for _, e in cues if begin_ns <= e.t_s * 1e9 < end_ns - 0.2e9]
    notices = [e.text for _, e in busy if isinstance(e, Notice)]
    assert len([one for one in notices if "late" in one]) == 1
    assert not [e for _, e in clean if isinstance(e, Notice) and "late" in e.text]

    def times(events: list[tuple[Item, Event]]) -> np.ndarray:
        return np.concatenate([e.t_s for _, e in events if isinstance(e, Angles)])

    np.testing.assert_array_equal(times(clean), times(busy))
    after = [e.t_s for _, e in cues if e.t_s * 1e9 > end_ns]
    assert after, "and the next tones come as ever"
