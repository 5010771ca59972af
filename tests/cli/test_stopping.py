"""A signal ends a verb in order: recordings whole, nothing temporary left, no traceback."""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from imufeedback.cli import stopping
from imufeedback.cli.stopping import ProgramStopped, Signals
from imufeedback.measure.edges.signals import VERBS, interrupted, prepared
from imufeedback.record import unfinished
from imufeedback.record.journal import JournalWriter
from imufeedback.record.replay import read_items
from imufeedback.records import Tick

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals are sent the POSIX way")


@pytest.fixture(scope="module", name="given")
def what_the_verbs_work_on(tmp_path_factory: pytest.TempPathFactory) -> object:
    return prepared(tmp_path_factory.mktemp("given"), 1)


@pytest.mark.parametrize(
    ("first_words", "name", "after_s"),
    [
        ("demo --headless", "SIGHUP", 3.5),
        ("demo --no-realtime", "SIGTERM", 1.5),
        ("demo --out", "SIGHUP", 6.0),
        ("analyse {recordings}", "SIGTERM", 2.5),
        ("export {recording} --format raw", "SIGINT", 1.5),
    ],
)
def test_a_verb_ends_in_order(given, tmp_path: Path, first_words: str, name: str, after_s: float) -> None:
    verb = next(one for one in VERBS if one.words.startswith(first_words))
    ended = interrupted(verb, name, after_s, given, tmp_path / "work")
    assert not ended.hung
    assert not ended.traceback
    assert "Traceback" not in ended.told
    assert ended.torn == ()
    assert ended.left == ()
    usual = 128 + getattr(signal, name)
    too_soon = -getattr(signal, name)  # on a busy machine Python itself is still starting
    assert ended.status in (usual, 0, too_soon)


# ── in this process ──────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(name="signals")
def handlers() -> Iterator[Signals]:
    signals = Signals()
    signals.begin()
    yield signals
    signals.close(ends_process=False)


def test_the_first_signal_stops_and_later_ones_let_it_close(signals: Signals) -> None:
    with pytest.raises(ProgramStopped):
        signal.raise_signal(signal.SIGTERM)
    signal.raise_signal(signal.SIGINT)
    signal.raise_signal(signal.SIGHUP)
    assert signals.status == 128 + signal.SIGTERM


@pytest.mark.parametrize("name", ["SIGINT", "SIGTERM", "SIGHUP"])
def test_before_a_verb_begins_a_signal_ends_the_process_at_once(name: str) -> None:
    lines = (
        f"import signal\nfrom imufeedback.cli.stopping import Signals\nSignals()\nsignal.raise_signal(signal.{name})"
    )
    done = subprocess.run([sys.executable, "-c", lines], capture_output=True, text=True, check=False)
    assert done.returncode == 128 + getattr(signal, name)
    assert done.stderr == "imufeedback: stopped\n"


def test_a_signal_that_is_ignored_stays_so() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        signals = Signals()
        signal.raise_signal(signal.SIGHUP)
        signals.close(ends_process=False)
        assert signals.received is None
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_what_is_open_at_the_end_is_closed(tmp_path: Path) -> None:
    journal = JournalWriter(tmp_path / "open.mcap")
    journal.write(Tick(5))
    part, folder = tmp_path / ".half.part", tmp_path / "scratch"
    part.write_text("half", encoding="utf-8")
    folder.mkdir()
    (folder / "inside").write_text("x", encoding="utf-8")
    for one in (part, folder):
        unfinished.begin(one)
    stopping.close_what_is_open()
    recording = read_items(journal.path)
    assert list(recording) == [Tick(5)]
    assert recording.complete
    assert not part.exists()
    assert not folder.exists()


def test_a_recording_that_was_not_begun_leaves_no_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The signal comes between the file and its threads."""

    def stop(folder: Path) -> None:
        raise ProgramStopped(signal.SIGTERM)

    monkeypatch.setattr("imufeedback.record.journal.sync_folder", stop)
    with pytest.raises(ProgramStopped):
        JournalWriter(tmp_path / "new.mcap")
    stopping.close_what_is_open()
    assert list(tmp_path.iterdir()) == []


def test_a_scratch_folder_goes_with_what_is_in_it() -> None:
    made: list[Path] = []

    def work() -> None:
        with unfinished.scratch_folder("test") as folder:
            made.append(folder)
            (folder / "a").mkdir()
            (folder / "a" / "b").write_text("x", encoding="utf-8")
            raise ProgramStopped(signal.SIGINT)

    with pytest.raises(ProgramStopped):
        work()
    assert not made[0].exists()
