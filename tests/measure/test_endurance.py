"""A long day: what is played, what is compared, and that a leak or a loss fails its line."""

from __future__ import annotations

import itertools
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imufeedback.ble.virtual import FaultScript, parse_faults
from imufeedback.commands import Begin, recorded
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.checks import Context, LeftOut, Measured
from imufeedback.measure.curves import curves
from imufeedback.measure.endurance import lines as lines_module
from imufeedback.measure.endurance.audit import Digest, Flow, read_back
from imufeedback.measure.endurance.day import BACK_S, LongDay, broken
from imufeedback.measure.endurance.lines import DAY_S, endurance, lines
from imufeedback.measure.page import page
from imufeedback.measure.run import Report
from imufeedback.measure.sets import speed
from imufeedback.record.journal import JournalWriter
from imufeedback.records import LinkNote, LinkState, Motion, RawPacket, StateChanged, Tick
from imufeedback.synth.script import make_script

PARTS = ("memory", "engine's queue", "missed", "to sound", "recording /", "lost", "read back", "again", "faults")


def document(seconds: float = DAY_S, **changes: Any) -> dict[str, Any]:
    """What the process of a day without any trouble tells."""
    count = 40
    t_s = np.linspace(seconds / count, seconds, count)
    share = t_s / seconds
    samples: dict[str, list[float | None]] = {
        "t_s": t_s.tolist(),
        "memory_mb": (250 + share).tolist(),
        "event_ms": [1.5] * count,
        "sound_ms": [None, *[6.0] * (count - 1)],
        "busy": [0.1] * count,
        "file_mb": (20 * share).tolist(),
        "raw_mb": (10 * share).tolist(),
    }
    samples |= {one: [60.0] * count for one in ("engine_peak", "journal_peak", "feed_peak")}
    samples |= changes.pop("samples", {})
    usual = {
        "seconds": seconds,
        "took_s": 60.0,
        "samples": samples,
        "events": {"Cue": 3},
        "packets": 1000,
        "payload_bytes": 10_000_000,
        "items": 1200,
        "items_read": 1200,
        "file_bytes": 20_000_000,
        "not_recorded": 0,
        "complete": True,
        "stretch_s": 300.0,
        "same_events": True,
        "feed_dropped": 0,
        "frames": 2 * seconds,
        "faults": [],
        "sound": {"played": 3, "expired": 0, "late": 0},
    }
    return usual | changes


def failing(found: dict[str, Any]) -> list[str]:
    return [line.check for line in lines(found) if not line.ok]


# ── lines ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_day_without_trouble_holds_every_line() -> None:
    assert failing(document()) == []
    checks = [line.check for line in lines(document())]
    for part in PARTS:
        assert any(part in one for one in checks), part
    assert len(set(checks)) == len(checks)


@pytest.mark.parametrize(
    ("part", "changes"),
    [
        ("lost or changed", {"not_recorded": 1}),
        ("read back", {"items_read": 1199}),
        ("read back", {"complete": False}),
        ("checked again", {"same_events": False}),
        ("exceptions", {"faults": ["engine: ValueError()"]}),
        ("window missed", {"feed_dropped": 2}),
        ("frames", {"frames": DAY_S}),
        ("recording /", {"file_bytes": 30_000_000}),
        ("recording's queue", {"samples": {"journal_peak": [60.0] * 39 + [5000.0]}}),
        ("packet to events", {"samples": {"event_ms": [1.5] * 20 + [13.0] * 20}}),
        ("packet to sound", {"samples": {"sound_ms": [None] * 40}}),
        ("engine's share", {"samples": {"busy": [1.2] * 40}}),
        ("memory growth", {"samples": {"memory_mb": np.linspace(250, 310, 40).tolist()}}),
        ("memory growth", {"samples": {"memory_mb": [None] * 40}}),
    ],
)
def test_trouble_fails_its_own_line_and_no_other(part: str, changes: dict[str, Any]) -> None:
    (failed,) = failing(document(**changes))
    assert part in failed


def test_a_short_run_carries_its_slope_to_eight_hours_and_says_so() -> None:
    seconds = 120.0
    leak_mb_s = 0.02
    t_s = np.linspace(3, seconds, 40)
    leaking = document(seconds, samples={"t_s": t_s.tolist(), "memory_mb": (250 + leak_mb_s * t_s).tolist()})
    growth = next(iter(lines(leaking)))
    assert "carried on from its last half to 8 h" in growth.check
    assert growth.value == pytest.approx(leak_mb_s * DAY_S)
    assert not growth.ok


def test_one_step_of_memory_is_no_leak() -> None:
    stepped = document(120.0, samples={"memory_mb": [250.0] * 32 + [253.0] * 8})
    assert next(iter(lines(stepped))).value == 0.0


# ── what is played ───────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(name="day", scope="module")
def short_day() -> LongDay:
    return LongDay(60.0, 1, make_script(reps=1, seed=1))


def test_the_same_seed_gives_the_same_items_in_order_of_time(day: LongDay) -> None:
    first, again = (list(itertools.takewhile(lambda one: one.host_ns < 8e9, day.items())) for _ in range(2))
    assert first == again
    times = [one.host_ns for one in first]
    assert times == sorted(times)
    kinds = {type(one) for one in first}
    assert kinds == {RawPacket, LinkNote, Tick}


def test_nothing_of_a_sensor_arrives_while_its_link_is_broken(day: LongDay) -> None:
    left = next(one for one in day.streams if str(one.segment) == "left_thigh")
    ((fault, from_s, back_s),) = broken(day.faults, (left.serial, "left_thigh"), 60.0)
    assert (from_s, back_s) == (50.0, pytest.approx(55.0 + BACK_S))
    assert fault.callback
    items = [one for one in day.items() if getattr(one, "sensor", "") == left.serial]
    arrived = [one.host_ns * 1e-9 for one in items if isinstance(one, RawPacket)]
    assert not any(from_s <= t_s < back_s for t_s in arrived)
    assert any(t_s > back_s for t_s in arrived)
    told = [
        (one.host_ns * 1e-9, one.state) for one in items if isinstance(one, LinkNote) and from_s <= one.host_ns / 1e9
    ]
    assert [state for _, state in told][:3] == [LinkState.LOST, LinkState.CONNECTING, LinkState.CONNECTED]


def test_a_link_that_breaks_untold_is_noticed_by_its_silence() -> None:
    script = parse_faults('[[fault]]\nkind = "disconnect"\nat_s = 5.0\naway_s = 0.1\ncallback = false\n', "x")
    ((_, from_s, back_s),) = broken(script, ("a",), 60.0)
    assert back_s - from_s == pytest.approx(0.9 + BACK_S)
    assert list(broken(FaultScript(), ("a",), 60.0)) == []


# ── what is compared ─────────────────────────────────────────────────────────────────────────────────────────────


def packets(count: int) -> list[RawPacket]:
    return [RawPacket("a", k * 20_000_000, bytes([k, 1, 2])) for k in range(count)]


def flow(items: list[RawPacket]) -> Flow:
    out = Flow()
    for item in items:
        out.add(item)
    return out


def test_a_lost_a_swapped_and_a_changed_packet_are_told() -> None:
    sent = packets(9)
    whole = flow(sent)
    assert whole.missing_in(flow(sent)) == 0
    assert whole.missing_in(flow(sent[:4] + sent[6:])) == 2
    assert whole.missing_in(flow([sent[1], sent[0], *sent[2:]])) == 1
    assert whole.missing_in(flow([*sent[:-1], RawPacket("a", sent[-1].host_ns, b"other")])) == 1
    assert whole.missing_in(Flow()) == 9


def test_a_recording_without_one_packet_is_found_out(tmp_path: Path, day: LongDay) -> None:
    begin = recorded(0, Begin.of(day.settings))
    items = [begin, *itertools.takewhile(lambda one: one.host_ns < 2e9, day.items())]
    given = Flow()
    dropped = next(one for one in items[40:] if isinstance(one, RawPacket))
    with JournalWriter(tmp_path / "short.mcap") as journal:
        for item in items:
            given.add(item)
            if item is not dropped:
                journal.write(item)
    back = read_back(journal.path, 0.0)
    assert back.complete
    assert given.missing_in(back.flow) == 1
    assert given.items - back.flow.items == 1


def test_the_fingerprint_of_events_sees_the_last_bit() -> None:
    def fingerprint(gained: float) -> str:
        digest = Digest()
        digest.add([StateChanged(1.0, 0.9, Motion.STALLED, gained, 0.1)])
        return digest.text

    assert fingerprint(0.2) == fingerprint(0.2)
    assert fingerprint(0.2) != fingerprint(float(np.nextafter(0.2, 1)))


# ── process and picture ──────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("said", "expected"), [("ImportError: No module named 'PySide6'", LeftOut), ("ValueError: x", ImuFeedbackError)]
)
def test_a_process_that_fails_is_told(
    said: str, expected: type[Exception], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    done = subprocess.CompletedProcess([], 1, "", f"Traceback\n{said}\n")
    monkeypatch.setattr(lines_module.subprocess, "run", lambda *_args, **_keys: done)
    with pytest.raises(expected, match=said.rpartition(": ")[2]):
        list(endurance(Context(tmp_path, None, quick=True)))


def test_the_set_speed_plays_it() -> None:
    assert lines_module.STEP in speed.STEPS


def made(found: dict[str, Any]) -> str:
    measured: list[tuple[str, Measured]] = [("speed", one) for one in lines(found)]
    return page(Report(False, 1, measured, [], [{"set": "speed", "trial": "endurance", **found}]))


def test_the_page_shows_memory_queues_delay_and_file_over_the_hours() -> None:
    text = made(document(faults=["engine: <odd>"]))
    assert text.count("<svg") == 4
    for words in ("Memory of the whole process", "waited in a queue", "to its sound", "Recording, and", "8 hours"):
        assert words in text
    assert "engine: &lt;odd&gt;" in text
    assert "2 h</text>" in text
    assert "What went wrong" not in made(document())


def test_a_picture_of_many_samples_keeps_its_peak() -> None:
    values: list[float | None] = [1.0] * 5000
    values[1234] = 50.0
    drawn = curves(list(range(5000)), {"queue": values}, unit="items", title="queue")
    assert len(drawn) < 12_000
    assert drawn.count(",12.0") == 1  # the top of the scale, reached once


def test_a_gap_is_drawn_through_and_nothing_is_drawn_of_nothing() -> None:
    assert 'points="78.0' in curves([0.0, 1.0, 2.0], {"a": [1.0, None, 2.0]}, unit="ms", title="a")
    assert "polyline" not in curves([0.0, 1.0], {"a": [None, None]}, unit="ms", title="a")
