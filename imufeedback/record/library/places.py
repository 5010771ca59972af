"""Which files belong to a recording, and where recordings of a player go.

Beside ``a.mcap`` may lie ``a.edits.jsonl`` (what people wrote), ``a.verdicts.json`` (what was judged) and ``a.trace``
(its angles; can be made again). Whatever else begins with ``a.`` or ``.a.`` was made of it too: copies, temporary
files.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from imufeedback.record.files import shown

SUFFIX = ".mcap"
EDITS, VERDICTS, TRACE = ".edits.jsonl", ".verdicts.json", ".trace"
INDEX = "index.sqlite"


def edits_of(recording: Path) -> Path:
    return recording.with_name(recording.stem + EDITS)


def verdicts_of(recording: Path) -> Path:
    return recording.with_name(recording.stem + VERDICTS)


def trace_of(recording: Path) -> Path:
    return recording.with_name(recording.stem + TRACE)


def belongings(recording: Path) -> list[Path]:
    """The recording and everything that was made of it, whether it is there or not."""
    return [recording, edits_of(recording), verdicts_of(recording), trace_of(recording)]


def index_files(folder: Path) -> list[Path]:
    """The index of a folder with what lies beside it, whether it is there or not."""
    stem = INDEX.split(".")[0]
    return [folder / f"{INDEX}{end}" for end in ("", "-wal", "-shm", "-journal")] + [
        folder / f"{stem}.{end}" for end in ("sum", "lock")
    ]


@dataclass(slots=True)
class FolderContents:
    """What lies in a folder of recordings."""

    states: dict[Path, dict[str, os.stat_result]] = field(default_factory=dict)
    """Every recording, with the state of the files that the index is made of; none of a link that leads nowhere."""
    troubles: list[str] = field(default_factory=list)
    """What could not be looked at, and files beside recordings that are not there; one line each."""


def look(root: Path) -> FolderContents:
    """Look through a folder and those in it. Nothing hides anything else; links to folders are not followed."""
    found = FolderContents()
    stack = [os.fspath(root)]
    while stack:
        here = stack.pop()
        try:
            with os.scandir(here) as entries:
                there = sorted(entries, key=lambda entry: entry.name)
        except OSError as error:
            if not isinstance(error, FileNotFoundError):  # one that has just gone has no recordings for us
                found.troubles.append(f"{shown(here)}: cannot be looked into ({error.strerror})")
            continue
        _sort(there, stack, found)
    return found


def _sort(entries: list[os.DirEntry[str]], stack: list[str], found: FolderContents) -> None:
    """One folder's entries: recordings with their files, folders onto the stack."""
    files: dict[str, os.stat_result | None] = {}
    for entry in entries:
        if _is_folder(entry):
            stack.append(entry.path)
        elif entry.name.endswith((SUFFIX, EDITS, VERDICTS)) and not entry.name.startswith("."):
            files[entry.path] = _state(entry)
        elif entry.is_symlink() and os.path.isdir(entry.path):
            found.troubles.append(f"{shown(entry.path)}: a link to a folder, which is not looked into")
    for name in files:
        stem, end = _split(name)
        if end == SUFFIX:
            beside = {one: files.get(stem + one) for one in (SUFFIX, EDITS, VERDICTS)}
            found.states[Path(name)] = {one: state for one, state in beside.items() if state is not None}
        elif stem + SUFFIX not in files:
            found.troubles.append(f"{shown(name)}: its recording is not there")


def _split(name: str) -> tuple[str, str]:
    return next((name.removesuffix(end), end) for end in (EDITS, VERDICTS, SUFFIX) if name.endswith(end))


def _is_folder(entry: os.DirEntry[str]) -> bool:
    try:
        return entry.is_dir(follow_symlinks=False)
    except OSError:
        return False


def _state(entry: os.DirEntry[str]) -> os.stat_result | None:
    """None for what leads nowhere."""
    try:
        return entry.stat()
    except OSError:
        return None


def why_no_file(path: Path) -> str:
    """Why a recording cannot be opened at all; empty when it can."""
    try:
        mode = path.stat().st_mode
    except OSError as error:
        if path.is_symlink():
            return f"a link that leads nowhere ({error.strerror})"
        return f"cannot be read ({error.strerror})"
    if stat.S_ISREG(mode):
        return ""
    return "a link to a folder" if stat.S_ISDIR(mode) else "a pipe or a device, no file"


def recordings(root: Path) -> Iterator[tuple[Path, dict[str, os.stat_result]]]:
    """Every recording below a folder that can be opened, with the state of the files that the index is made of."""
    for path, states in look(root).states.items():
        if SUFFIX in states and stat.S_ISREG(states[SUFFIX].st_mode):
            yield path, states


def signature(states: dict[str, os.stat_result]) -> str:
    """Changes when any of the files does."""
    return ";".join(f"{end}:{state.st_size}:{state.st_mtime_ns}" for end, state in sorted(states.items()))
