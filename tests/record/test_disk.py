"""A disk that hangs is told of while it hangs, and not afterwards only."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from imufeedback.begin import session_settings
from imufeedback.live.session import Session
from imufeedback.record import disk, journal
from imufeedback.record.disk import AGAIN_S, HANGS_S, DiskWait, HangTeller
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Event, Item, Notice, Segment, Tick


def test_the_oldest_request_counts_until_it_is_answered() -> None:
    now = [0.0]
    waiting = DiskWait(lambda: now[0])
    assert waiting.waits_s == 0.0
    with waiting.asking("sync"):
        now[0] = 5.0
        with waiting.asking("write"):
            now[0] = 7.0
            assert waiting.waits_s == 7.0
        assert waiting.waits_s == 7.0
    assert waiting.waits_s == 0.0


def test_a_request_that_fails_does_not_wait_any_more() -> None:
    waiting = DiskWait()
    with pytest.raises(OSError, match="gone"), waiting.asking("sync"):
        raise OSError("gone")
    assert waiting.waits_s == 0.0


def test_a_hang_is_told_again_while_it_lasts_and_its_end_too() -> None:
    teller = HangTeller()
    told = [(k / 10, line) for k in range(200) for line in teller.lines(k / 10)]
    assert [at_s for at_s, _ in told] == pytest.approx([HANGS_S, HANGS_S + AGAIN_S, HANGS_S + 2 * AGAIN_S])
    assert "the disk has not answered for 3 s" in told[0][1]
    assert teller.lines(0.0) == ["recording: the disk answers again, after 20 s; nothing is missing"]
    assert teller.lines(0.0) == []


@given(st.lists(st.floats(0.0, HANGS_S - 0.01), max_size=30))
def test_a_disk_that_is_only_slow_is_nothing_to_talk_about(waits: list[float]) -> None:
    teller = HangTeller()
    assert [line for one in waits for line in teller.lines(one)] == []


@pytest.mark.parametrize("call", ["fsync", "write"])
def test_a_session_tells_of_a_hanging_disk_before_it_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    free, real = threading.Event(), getattr(os, call)
    hang = threading.Event()

    def hanging(number: int, *data: bytes) -> object:
        if hang.is_set():
            free.wait(20.0)
        return real(number, *data)

    monkeypatch.setattr(journal.os, call, hanging)
    monkeypatch.setattr(disk, "HANGS_S", 0.2)
    told: list[Event] = []
    settings = session_settings([("A", Segment.PELVIS)], "house")
    writer = JournalWriter(tmp_path / "a.mcap", sync_every_s=0.02)
    session = Session(settings, begin_ns=0, journal=writer, sinks=[told.extend])
    hang.set()
    lines: list[str] = []
    items: list[Item] = []
    for k in range(1, 400):
        items.append(Tick(k * 50_000_000))
        session.feed(items[-1])
        lines = [one.text for one in told if isinstance(one, Notice) and one.text.startswith("recording:")]
        if lines and not free.is_set():
            assert "the disk has not answered" in lines[0]
            hang.clear()
            free.set()
        if len(lines) == 2:
            break
        time.sleep(0.02)
    session.finish()
    assert len(lines) == 2
    assert "the disk answers again" in lines[1]
    assert list(read_items(writer.path))[1:] == items
    assert writer.error is None


def test_a_disk_that_never_confirms_is_told_at_the_end(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    free, real = threading.Event(), os.fsync
    asked = threading.Event()

    def hanging(number: int) -> None:
        if threading.current_thread().name == "journal-sync":
            asked.set()
            free.wait(20.0)
        real(number)

    monkeypatch.setattr(journal.os, "fsync", hanging)
    monkeypatch.setattr(journal, "CLOSE_WAIT_S", 0.3)
    writer = JournalWriter(tmp_path / "a.mcap", sync_every_s=0.01)
    writer.write(Tick(1))
    assert asked.wait(5.0)
    writer.close()
    free.set()
    assert "the disk did not confirm the recording" in (writer.error or "")
    writer._syncer.join(5.0)
