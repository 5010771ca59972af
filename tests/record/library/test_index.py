"""The index: checked, shared, and never taken away under a program that uses it."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from imufeedback.measure.edges.library import make_session
from imufeedback.record.library import Library
from imufeedback.record.library import index as index_module
from imufeedback.record.library.places import INDEX

COUNT = 6


@pytest.fixture(name="root")
def small(tmp_path: Path) -> Path:
    rng = np.random.default_rng(1)
    for number in range(COUNT):
        make_session(tmp_path / f"{number}.mcap", f"player {number % 2}", number, rng)
    Library(tmp_path).close()
    return tmp_path


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(index_module, "WAIT_S", 0.3)


def test_one_flipped_bit_anywhere_is_seen_and_the_index_made_again(root: Path) -> None:
    good = (root / INDEX).read_bytes()
    with Library(root) as library:
        before, reps = library.sessions(), library.reps()
        assert library.troubles == []
    rng = np.random.default_rng(2)
    for at in rng.integers(len(good), size=40):
        data = bytearray(good)
        data[at] ^= 1 << int(rng.integers(8))
        (root / INDEX).write_bytes(data)
        with Library(root) as library:
            assert library.sessions() == before, at
            assert library.reps() == reps
            assert any("index was damaged" in line for line in library.troubles)
        good = (root / INDEX).read_bytes()
    with Library(root) as library:
        assert library.troubles == []


def test_an_exclusive_lock_is_waited_for_then_told_and_the_index_stays(root: Path) -> None:
    other = sqlite3.connect(root / INDEX, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    other.execute("UPDATE sessions SET title = title")
    inode = (root / INDEX).stat().st_ino
    with Library(root) as library:
        assert len(library.sessions()) == COUNT
        assert any("another program holds the index" in line for line in library.troubles)
        make_session(root / "7.mcap", "player 7", 7, np.random.default_rng(7))
        library.refresh()
        assert len(library.sessions()) == COUNT + 1
    assert (root / INDEX).stat().st_ino == inode
    other.execute("ROLLBACK")
    other.close()
    with Library(root) as library:
        assert (len(library.sessions()), library.troubles) == (COUNT + 1, [])


def test_a_lock_that_comes_while_the_library_is_open(root: Path) -> None:
    with Library(root) as library:
        other = sqlite3.connect(root / INDEX, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        (root / "0.mcap").unlink()
        library.refresh()
        assert len(library.sessions()) == COUNT - 1
        assert any("another program holds" in line for line in library.troubles)
        other.execute("ROLLBACK")
        other.close()


@pytest.mark.skipif(os.name != "posix", reason="there the system itself lets nobody remove an open file")
def test_a_damaged_index_is_not_removed_under_a_program_that_uses_it(root: Path) -> None:
    code = (
        "import sys\nfrom imufeedback.record.library import Library\n"
        "Library(sys.argv[1])\nprint('open', flush=True)\ninput()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, str(root)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "open\n"
        inode = (root / INDEX).stat().st_ino
        (root / "index.sum").unlink(missing_ok=True)
        with open(root / INDEX, "rb+") as file:
            file.write(b"no database at all")
        with Library(root) as library:
            assert len(library.sessions()) == COUNT
            assert any("damaged, and another program uses it" in line for line in library.troubles)
        assert (root / INDEX).stat().st_ino == inode
        other.communicate("\n")
    with Library(root) as library:
        assert len(library.sessions()) == COUNT
    with Library(root) as library:
        assert library.troubles == []


def test_an_index_that_is_spoilt_while_it_is_open(root: Path) -> None:
    with Library(root) as library:
        before = library.sessions()
    with Library(root) as library:
        size = (root / INDEX).stat().st_size
        with open(root / INDEX, "rb+") as file:
            file.seek(4096)
            file.write(b"\xff" * (size - 4096))
        make_session(root / "7.mcap", "player 7", 7, np.random.default_rng(7))
        library.refresh()
        assert library.sessions()[:COUNT] == before
        assert any("list was made without it" in line for line in library.troubles)
    with Library(root) as library:
        assert library.sessions()[:COUNT] == before
        assert len(library.sessions()) == COUNT + 1


def test_several_programs_at_once(root: Path) -> None:
    for end in (INDEX, "index.sum"):
        (root / end).unlink()
    code = (
        "import sys\nfrom imufeedback.record.library import Library\n"
        "for _ in range(4):\n  with Library(sys.argv[1]) as l: print(len(l.sessions()), l.troubles)"
    )
    running = [
        subprocess.Popen([sys.executable, "-c", code, str(root)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
        for _ in range(3)
    ]
    said = [one.communicate()[0].decode() for one in running]
    assert said == [f"{COUNT} []\n" * 4] * 3


def test_a_killed_program_leaves_an_index_that_is_used(root: Path) -> None:
    code = (
        "import os, sys\nfrom imufeedback.record.library import Library\n"
        "from imufeedback.record.library.edits import add_edit\nl = Library(sys.argv[1])\n"
        "add_edit(next(iter(l.sessions())).path, 'tag', text='late')\nl.refresh()\nos._exit(9)"
    )
    assert subprocess.run([sys.executable, "-c", code, str(root)], check=False).returncode == 9
    with Library(root) as library:
        assert (len(library.sessions(tag="late")), library.troubles) == (1, [])


def test_a_file_system_without_locks(root: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fcntl = pytest.importorskip("fcntl")

    def refuse(number: int, how: int) -> None:
        raise OSError(95, "Operation not supported")

    monkeypatch.setattr(fcntl, "flock", refuse)
    with open(root / INDEX, "rb+") as file:
        file.write(b"no database at all")
    with Library(root) as library:
        assert len(library.sessions()) == COUNT
        assert ["index was damaged" in line for line in library.troubles] == [True]
    with Library(root) as library:
        assert library.troubles == []


def test_an_index_that_is_a_folder_or_leads_nowhere(root: Path) -> None:
    (root / INDEX).unlink()
    (root / INDEX).mkdir()
    with Library(root) as library:
        assert len(library.sessions()) == COUNT
        assert any("no ordinary file" in line for line in library.troubles)
    (root / INDEX).rmdir()
    (root / INDEX).symlink_to("nowhere")
    with Library(root) as library:
        assert len(library.sessions()) == COUNT
        assert library.troubles
