"""Files that nobody else may read, that appear whole or not at all, and are not lost when a rename is refused."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from imufeedback import people
from imufeedback.document import Document
from imufeedback.errors import CannotWrite
from imufeedback.record import files
from imufeedback.record.files import (
    make_folder,
    part_file,
    put_aside,
    read_small,
    temporaries,
    temporary,
    tighten_data,
    whole_file,
    write_whole,
)  # fmt: skip
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library import Library
from imufeedback.record.library.edits import add_edit
from imufeedback.record.library.verdicts import add_verdict
from imufeedback.record.trace import TraceWriter

posix = pytest.mark.skipif(os.name != "posix", reason="Windows keeps a user's own folder to the user")


@pytest.fixture(name="no_umask")
def open_umask() -> Iterator[None]:
    before = os.umask(0)
    yield
    os.umask(before)


@pytest.fixture(autouse=True)
def no_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "PAUSES_S", (0.0, 0.0, 0.0))


def refuse(monkeypatch: pytest.MonkeyPatch, times: int) -> list[int]:
    left, replace = [times], os.replace

    def maybe(src: str, dst: str) -> None:
        if left[0]:
            left[0] -= 1
            raise PermissionError(13, "held by a scanner")
        replace(src, dst)

    monkeypatch.setattr(os, "replace", maybe)
    return left


@posix
@pytest.mark.usefixtures("no_umask")
def test_everything_of_people_is_for_this_user_alone(tmp_path: Path) -> None:
    root = tmp_path / "home" / "recordings"
    make_folder(root)
    with JournalWriter(root / "a.mcap") as journal:
        pass
    add_edit(journal.path, "note", text="x")
    add_verdict(journal.path, Document(version="1", reps=[]), key="", rules="", duration_s=0.0)
    with TraceWriter(root / "a.trace"):
        pass
    people.load(tmp_path / "home" / "players").save(people.Person("Ida"))
    with Library(root), whole_file(root / "x.csv") as file:
        file.write("x")
        modes = {path: stat.S_IMODE(path.lstat().st_mode) for path in (tmp_path / "home").rglob("*")}
    assert len(modes) >= 11
    for path, mode in {**modes, tmp_path / "home": stat.S_IMODE((tmp_path / "home").stat().st_mode)}.items():
        assert mode == (0o700 if path.is_dir() else 0o600), path


@posix
def test_a_data_folder_of_an_earlier_version_is_tightened_when_it_is_opened(tmp_path: Path) -> None:
    for one in ("recordings/Ida/a.mcap", "players/Ida.toml", "fits/Ida.json", "sensors.toml", "drills/mine.toml"):
        path = tmp_path / one
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("", encoding="utf-8")
        path.chmod(0o644)
        path.parent.chmod(0o755)
    outside = tmp_path.parent / f"{tmp_path.name}-outside"
    outside.write_text("", encoding="utf-8")
    outside.chmod(0o644)
    (tmp_path / "recordings" / "link.mcap").symlink_to(outside)
    tighten_data(tmp_path)
    for one in ("recordings/Ida/a.mcap", "players/Ida.toml", "fits/Ida.json", "sensors.toml"):
        assert stat.S_IMODE((tmp_path / one).stat().st_mode) == 0o600
        assert stat.S_IMODE((tmp_path / one).parent.stat().st_mode) == 0o700
    assert stat.S_IMODE((tmp_path / "drills" / "mine.toml").stat().st_mode) == 0o644
    assert stat.S_IMODE(outside.stat().st_mode) == 0o644


@pytest.mark.parametrize("refused", [1, 3])
def test_a_rename_that_is_refused_for_a_moment_is_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, refused: int
) -> None:
    left = refuse(monkeypatch, refused)
    write_whole(tmp_path / "a.json", b"new")
    assert left == [0]
    assert [one.name for one in tmp_path.iterdir()] == ["a.json"]


def test_a_rename_that_stays_refused_keeps_what_was_written_and_says_where(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.json").write_bytes(b"old")
    refuse(monkeypatch, 99)
    with pytest.raises(CannotWrite, match=r"held by a scanner.*kept as \.a\.json\.part"):
        write_whole(tmp_path / "a.json", b"new")
    with pytest.raises(CannotWrite, match="kept as"), whole_file(tmp_path / "b.csv") as file:
        file.write("text")
    with pytest.raises(CannotWrite, match="kept as"), part_file(tmp_path / "c.c3d", ".c3d") as part:
        part.write_bytes(b"points")
    with pytest.raises(CannotWrite, match="kept as"), TraceWriter(tmp_path / "d.trace"):
        pass
    kept = {one.name: one.read_bytes() for one in tmp_path.iterdir()}
    assert kept.pop(".d.trace.part").startswith(b'{"imufeedback_trace": 2')
    assert kept == {"a.json": b"old", ".a.json.part": b"new", ".b.csv.part": b"text", ".c.c3d.part.c3d": b"points"}


def test_what_fails_while_it_is_written_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(UnicodeEncodeError), whole_file(tmp_path / "a.csv") as file:
        file.write("half \udc80")
    assert list(tmp_path.iterdir()) == []


def test_old_temporary_files_go_when_the_file_is_written(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    old, new = temporary(path), temporary(path).with_name(".a.json-2.part")
    for one in (old, new, tmp_path / ".b.json.part"):
        one.write_bytes(b"x")
    os.utime(old, (time.time() - 7200,) * 2)
    os.utime(tmp_path / ".b.json.part", (time.time() - 7200,) * 2)
    assert temporaries(path) == [new, old]
    write_whole(path, b"y")
    assert not old.exists()
    assert new.exists(), "perhaps another program is just writing it"
    assert (tmp_path / ".b.json.part").exists(), "another file's"


def test_names_of_temporary_files_are_never_too_long_nor_shared(tmp_path: Path) -> None:
    names = ["a" * 240 + end for end in (".csv", ".trace")]
    made = {temporary(tmp_path / one).name for one in names}
    assert len(made) == 2
    for one in names:
        write_whole(tmp_path / one, b"x")


@posix
def test_only_ordinary_files_of_limited_size_are_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "large").write_bytes(bytes(2000))
    cases = ((tmp_path / "pipe", "no ordinary"), (Path("/dev/zero"), "no ordinary"), (tmp_path / "large", "1 kB"))
    for path, why in cases:
        with pytest.raises(OSError, match=why):
            read_small(path, 1024)


def test_a_folder_below_a_file_or_a_loop_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    for bad in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / "a\0b"):
        with pytest.raises(OSError):
            make_folder(bad)


def test_put_aside_never_overwrites(tmp_path: Path) -> None:
    for content in (b"1", b"2"):
        (tmp_path / "a.json").write_bytes(content)
        put_aside(tmp_path / "a.json")
    assert {one.name: one.read_bytes() for one in tmp_path.iterdir()} == {"a.json.bak": b"1", "a.json-2.bak": b"2"}
