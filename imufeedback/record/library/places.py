"""Which files belong to a recording, and where recordings of a player go.

Beside ``a.mcap`` may lie ``a.edits.jsonl`` (what people wrote), ``a.verdicts.json`` (what was judged) and ``a.trace``
(its angles; can be made again).
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

from imufeedback.record.files import safe_stem

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


def player_folder(root: Path, player: str) -> Path:
    """Where new recordings of a player go."""
    return root / safe_stem(player or "without a name")


def recordings(root: Path) -> Iterator[tuple[Path, dict[str, os.stat_result]]]:
    """Every recording below a folder, with the state of the files that the index is made of."""
    stack = [root]
    while stack:
        files: dict[str, os.stat_result] = {}
        try:
            with os.scandir(stack.pop()) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        stack.append(Path(entry.path))
                    elif entry.name.endswith((SUFFIX, EDITS, VERDICTS)) and not entry.name.startswith("."):
                        files[entry.path] = entry.stat()
        except OSError:
            continue  # a folder that may not be read, or has just gone, has no recordings for us
        for name in sorted(files):
            if name.endswith(SUFFIX):
                stem = name.removesuffix(SUFFIX)
                yield Path(name), {end: files[stem + end] for end in (SUFFIX, EDITS, VERDICTS) if stem + end in files}


def signature(states: dict[str, os.stat_result]) -> str:
    """Changes when any of the files does."""
    return ";".join(f"{end}:{state.st_size}:{state.st_mtime_ns}" for end, state in sorted(states.items()))
