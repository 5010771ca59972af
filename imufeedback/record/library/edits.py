"""What people write about a recording: tags, notes, discarded reps, a corrected player. A journal of lines beside it.

Every line is a JSON object with the time (UTC) and its own CRC-32; lines are only ever added, and each is on the disk
before the call returns. A torn or damaged line, and one of a newer version, is passed over and told.
"""

from __future__ import annotations

import errno
import json
import os
import stat
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from imufeedback.document import JudgedRep
from imufeedback.errors import UsageError
from imufeedback.record.files import PRIVATE_FILE, cannot_write, name_key, read_small, sync_folder, write_whole
from imufeedback.record.library.places import edits_of

VERBS = ("tag", "untag", "note", "discard", "keep", "player", "title", "video")
TEXT_MAX = 10_000


BYTES_MAX = 16 << 20
"""A thousand times what people write about a long day. Chosen."""
REP_MAX = 10**9


class EditLine(msgspec.Struct, frozen=True):
    """What may stand in a line; more may."""

    verb: str
    text: Annotated[str, Meta(max_length=TEXT_MAX)] = ""
    rep: Annotated[int, Meta(ge=0, le=REP_MAX)] | None = None
    offset_s: Annotated[float, Meta(ge=-1e7, le=1e7)] | None = None


@dataclass(slots=True)
class Edits:
    """What holds after all lines."""

    tags: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    discarded: set[int] = field(default_factory=set)
    kept: set[int] = field(default_factory=set)
    """Put back in, whoever had taken them out."""
    player: str | None = None
    title: str | None = None
    video: Mapping[str, Any] | None = None
    """``path`` of a film beside or elsewhere, and ``offset_s``: session time at which it begins."""
    damaged: int = 0
    """Lines that could not be read."""
    unknown: int = 0
    """Lines of a newer version."""
    trouble: str = ""
    """Why the whole file could not be read; empty when it could, or there is none."""
    players: list[str] = field(default_factory=list)
    """Every player that was ever written, also where another line corrected it later."""

    def take(self, line: EditLine) -> None:
        verb, text = line.verb, line.text
        if verb == "tag" and text not in self.tags:
            self.tags.append(text)
        elif verb == "untag" and text in self.tags:
            self.tags.remove(text)
        elif verb == "note":
            self.notes.append(text)
        elif verb == "discard" and line.rep is not None:
            self.discarded.add(line.rep)
            self.kept.discard(line.rep)
        elif verb == "keep" and line.rep is not None:
            self.discarded.discard(line.rep)
            self.kept.add(line.rep)
        elif verb == "player":
            self.player = text
            self.players.append(text)
        elif verb == "title":
            self.title = text
        elif verb == "video":
            self.video = {"path": text, "offset_s": line.offset_s or 0.0}
        elif verb not in ("tag", "untag"):
            self.unknown += 1

    def out_of(self, reps: Iterable[JudgedRep]) -> frozenset[int]:
        """Reps that do not count: taken out here, or during the session and not put back in."""
        live = {one.index for one in reps if one.discarded}
        return frozenset(self.discarded | (live - self.kept))

    def words(self) -> str:
        """What is wrong with them, in one line; empty when nothing is."""
        if self.trouble:
            return f"what was written about it cannot be read ({self.trouble})"
        parts = [f"{self.damaged} damaged"] if self.damaged else []
        parts += [f"{self.unknown} of a newer version"] if self.unknown else []
        return f"notes and tags: lines passed over: {', '.join(parts)}" if parts else ""


def read_edits(recording: Path) -> Edits:
    """The edits of a recording. A damaged line costs itself only; `Edits.words` tells."""
    edits = Edits()
    path = edits_of(recording)
    if not os.path.lexists(path):
        return edits
    try:
        data = read_small(path, BYTES_MAX)
    except OSError as error:
        edits.trouble = error.strerror or str(error)
        return edits
    if not data:
        edits.trouble = "the file is empty: its lines were lost"
    for line in lines_of(data):
        if line is None:
            edits.damaged += 1
        else:
            edits.take(line)
    return edits


def lines_of(data: bytes) -> list[EditLine | None]:
    """The lines of a file; None for a damaged one."""
    return [_line(raw) for raw in data.split(b"\n") if raw.strip()]


def forget_player(recording: Path, key: str) -> None:
    """Take out the lines that named a player and were corrected later. Raises OSError, CannotWrite."""
    path = edits_of(recording)
    lines = read_small(path, BYTES_MAX).split(b"\n")
    kept = [raw for raw in lines if not ((line := _line(raw)) and line.verb == "player" and name_key(line.text) == key)]
    write_whole(path, b"\n".join(kept))


def add_edit(
    recording: Path, verb: str, *, text: str = "", rep: int | None = None, offset_s: float | None = None
) -> None:
    """Append one edit and wait until it is on the disk. Raises UsageError, CannotWrite."""
    if verb not in VERBS:
        raise UsageError(f"no edit is called {verb!r}", hint=f"choose one of {', '.join(VERBS)}")
    if len(text) > TEXT_MAX:
        raise UsageError(f"the text has {len(text)} characters", hint=f"write at most {TEXT_MAX}")
    if not _is_text(text):
        raise UsageError("the text has characters that cannot be kept", hint="write it anew")
    line: dict[str, Any] = {"at": datetime.now(UTC).isoformat(timespec="milliseconds"), "verb": verb}
    line |= {"text": text} if text else {}
    line |= {} if rep is None else {"rep": rep}
    line |= {} if offset_s is None else {"offset_s": offset_s}
    path = edits_of(recording)
    new = not path.exists()
    try:
        flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0)
        with open(os.open(path, flags, PRIVATE_FILE), "ab") as file:
            if not stat.S_ISREG(os.fstat(file.fileno()).st_mode):
                raise OSError(errno.EINVAL, "it is no ordinary file")
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


def _line(raw: bytes) -> EditLine | None:
    """None for a line that is damaged, or is not what it should be."""
    try:
        line = json.loads(raw)
        crc = line.pop("crc")
        return msgspec.convert(line, EditLine) if crc == _crc(line) else None
    except (ValueError, AttributeError, KeyError, TypeError, RecursionError, msgspec.ValidationError):
        return None


def _is_text(text: str) -> bool:
    """False for halves of characters, which come from names of files that are no UTF-8."""
    return text == text.encode("utf-8", "replace").decode()


def _crc(line: Mapping[str, Any]) -> str:
    """Raises ValueError for halves of characters."""
    return f"{zlib.crc32(json.dumps(line, sort_keys=True, ensure_ascii=False).encode()):08x}"
