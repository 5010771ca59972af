"""``analyse`` over several recordings and folders."""

from __future__ import annotations

import io
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Generator
from pathlib import Path

import pytest
from commands import Commands
from rich.console import Console

from imufeedback.cli.analyse_many import _with_bar
from imufeedback.record.library import Library
from imufeedback.review.many import RecordingOutcome
from imufeedback.review.many.one import failed


@pytest.fixture(name="archive")
def two_recordings(recording: Path, tmp_path: Path) -> Path:
    root = tmp_path / "archive"
    (root / "ana").mkdir(parents=True)
    shutil.copy(recording, root / "b.mcap")
    shutil.copy(recording, root / "ana" / "a.mcap")
    return root


def test_a_folder_with_a_bad_file_gives_the_rest_and_goes_on_where_it_was(
    imufeedback: Commands, archive: Path, tmp_path: Path
) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    (archive / "c.mcap").write_bytes(b"not a recording")
    options = ("--library", archive, "--out", tmp_path / "reps.parquet", "--workers", 1)
    ended = imufeedback("analyse", archive, *options)
    assert ended.status == 1
    assert "2 recording(s) checked, 1 failed: 2 reps" in ended.out
    assert "this is no recording" in ended.err.splitlines()[-1]
    assert "c.mcap" in ended.err.splitlines()[-1]
    assert sum(line.startswith(("1/3", "2/3", "3/3")) for line in ended.err.splitlines()) == 3
    read = parquet.read_table(tmp_path / "reps.parquet")
    assert read["recording"].to_pylist() == [str(archive / "ana" / "a.mcap"), str(archive / "b.mcap")]
    with Library(archive, lambda done, of: pytest.fail("the index was not up to date")) as library:
        assert sorted(one.reps or 0 for one in library.sessions()) == [0, 1, 1]

    (archive / "c.mcap").unlink()
    (archive / "b.verdicts.json").unlink()
    assert imufeedback("analyse", archive, *options).status == 1, "the table is there already"
    ended = imufeedback("analyse", archive, *options, "--overwrite")
    assert ended.status == 0
    assert "1 recording(s) checked, 1 were checked before: 2 reps" in ended.out
    assert parquet.read_table(tmp_path / "reps.parquet").equals(read)


@pytest.mark.parametrize("option", ["--json", "--angles"])
def test_what_is_of_one_recording_is_refused_for_many(
    imufeedback: Commands, archive: Path, tmp_path: Path, option: str
) -> None:
    ended = imufeedback("analyse", archive / "b.mcap", archive, option, tmp_path / "x")
    assert ended.status == 2
    assert "--out" in ended.error
    assert not (archive / "b.verdicts.json").exists()


def test_one_recording_alone_keeps_no_verdict(imufeedback: Commands, archive: Path) -> None:
    assert imufeedback("analyse", archive / "b.mcap").status == 0
    assert sorted(one.name for one in archive.iterdir()) == ["ana", "b.mcap"]


def test_an_address_that_is_none_is_one_line(imufeedback: Commands, archive: Path) -> None:
    pytest.importorskip("distributed", reason="the extra cluster is not installed")
    ended = imufeedback("analyse", archive, "--cluster", "tcp://nobody:nowhere")
    assert ended.status == 1
    assert "cannot be reached" in ended.error


def test_the_bar_of_a_terminal_counts() -> None:
    def work() -> Generator[RecordingOutcome, None, None]:
        yield from (failed("x/a.mcap", "no"), failed("x/b.mcap", "no"))

    screen = io.StringIO()
    shown = list(_with_bar(work(), 2, Console(file=screen, force_terminal=True, width=80)))
    assert [one["recording"] for one in shown] == ["x/a.mcap", "x/b.mcap"]
    assert "2/2" in screen.getvalue()
    assert "b.mcap" in screen.getvalue()


@pytest.mark.skipif(os.name != "posix", reason="signals of a terminal are sent to a POSIX process group")
def test_ctrl_c_stops_and_keeps_what_is_done(archive: Path) -> None:
    (archive / "ana" / "0.mcap").write_bytes(b"not a recording")
    command = [sys.executable, "-m", "imufeedback", "analyse", archive, "--workers", "1", "--library", archive]
    with subprocess.Popen(
        [*map(str, command)],
        stderr=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
        # as from a terminal, also when the tests run in the background of a script, where Ctrl-C is ignored
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),
    ) as running:
        assert running.stderr is not None
        assert running.stderr.readline().startswith("1/3")
        os.killpg(running.pid, signal.SIGINT)
        _, err = running.communicate(timeout=60)
    assert running.returncode == 130, err
    assert err.splitlines()[-1] == "imufeedback: stopped"
    assert "Traceback" not in err
    left = {one.name for one in archive.rglob("*") if one.is_file()}
    assert left <= {"0.mcap", "a.mcap", "b.mcap", "a.verdicts.json"}
