"""What people write about a recording: tags, notes, discarded reps, a corrected player. A journal of lines beside it.

Every line is a JSON object with the time (UTC) and its own CRC-32; lines are only ever added, and each is on the disk
before the call returns. A torn or damaged line is passed over and told.
"""

from __future__ import annotations

import json
import os
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from imufeedback.errors import UsageError
from imufeedback.record.files import cannot_write, sync_folder
from imufeedback.record.library.places import edits_of

VERBS = ("tag", "untag", "note", "discard", "keep", "player", "title", "video")
TEXT_MAX = 10_000


@dataclass(slots=True)
class Edits:
    """What holds after all lines."""

    tags: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    discarded: set[int] = field(default_factory=set)
    player: str | None = None
    title: str | None = None
    video: Mapping[str, Any] | None = None
    """``path`` of a film beside or elsewhere, and ``offset_s``: session time at which it begins."""
    damaged: int = 0
    """Lines that could not be read."""

    def take(self, line: Mapping[str, Any]) -> None:
        verb, text, rep = line.get("verb"), line.get("text", ""), line.get("rep")
        if verb == "tag" and text not in self.tags:
            self.tags.append(text)
        elif verb == "untag" and text in self.tags:
            self.tags.remove(text)
        elif verb == "note":
            self.notes.append(text)
        elif verb == "discard" and isinstance(rep, int):
            self.discarded.add(rep)
        elif verb == "keep" and isinstance(rep, int):
            self.discarded.discard(rep)
        elif verb == "player":
            self.player = text
        elif verb == "title":
            self.title = text
        elif verb == "video":
            self.video = {"path": text, "offset_s": float(line.get("offset_s", 0.0))}


def read_edits(recording: Path) -> Edits:
    """The edits of a recording. A damaged line costs itself only."""
    edits = Edits()
    try:
        data = edits_of(recording).read_bytes()
    except OSError:
        return edits
    for raw in data.splitlines():
        line = _line(raw)
        if line is None:
            edits.damaged += 1
        else:
            edits.take(line)
    return edits


def add_edit(
    recording: Path, verb: str, *, text: str = "", rep: int | None = None, offset_s: float | None = None
) -> None:
    """Append one edit and wait until it is on the disk. Raises UsageError, CannotWrite."""
    if verb not in VERBS:
        raise UsageError(f"no edit is called {verb!r}", hint=f"choose one of {', '.join(VERBS)}")
    if len(text) > TEXT_MAX:
        raise UsageError(f"the text has {len(text)} characters", hint=f"write at most {TEXT_MAX}")
    line: dict[str, Any] = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "verb": verb}
    line |= {"text": text} if text else {}
    line |= {} if rep is None else {"rep": rep}
    line |= {} if offset_s is None else {"offset_s": offset_s}
    path = edits_of(recording)
    new = not path.exists()
    try:
        with open(path, "ab") as file:
            if not new and file.tell() and not _ends_with_newline(path):
                file.write(b"\n")  # the line before was torn: it must not swallow this one
            file.write(json.dumps({**line, "crc": _crc(line)}, ensure_ascii=False).encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise cannot_write(path, error) from None
    if new:
        sync_folder(path.parent)


def _ends_with_newline(path: Path) -> bool:
    with open(path, "rb") as file:
        file.seek(-1, os.SEEK_END)
        return file.read(1) == b"\n"


def _line(raw: bytes) -> Mapping[str, Any] | None:
    try:
        line = json.loads(raw)
        crc = line.pop("crc")
    except (ValueError, AttributeError, KeyError, TypeError):
        return None
    return line if crc == _crc(line) else None


def _crc(line: Mapping[str, Any]) -> str:
    return f"{zlib.crc32(json.dumps(line, sort_keys=True, ensure_ascii=False).encode()):08x}"
