"""Verdicts on a recording, beside it: every judgement is kept, so that an old one stands beside today's.

The file is one JSON object on one line, ``{"imufeedback_verdicts": 2, "crc32": "…", "verdicts": […]}``; the checksum is
a CRC-32 of the bytes of the array. What does not fit is not used: the recording can be judged again. Format 1 had no
checksum; such a file is still read when everything in it is of the right kind.
"""

from __future__ import annotations

import json
import os
import re
import zlib
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import msgspec
from msgspec import Meta

from imufeedback.document import Document, to_json
from imufeedback.errors import BadFile
from imufeedback.record.files import put_aside, read_small, write_whole
from imufeedback.record.library.places import verdicts_of

FORMAT = 2
BYTES_MAX = 28 << 20
"""An eight-hour day judged eight times is below this. The worst JSON of that size takes 1.1 GB to look at."""
_HEAD = re.compile(rb'\{"imufeedback_verdicts": (\d{1,6}), "crc32": "([0-9a-f]{8})", "verdicts": ')


class KeptVerdict(msgspec.Struct, frozen=True):
    """One judgement of the recording."""

    judged_utc: str
    version: str
    """Of imufeedback that judged."""
    rules: str
    """Title of the rules."""
    key: str
    """Says in which way it was judged: `key_of`."""
    duration_s: float
    """Of the session."""
    summary: Document


class _Format(msgspec.Struct, frozen=True):
    imufeedback_verdicts: Annotated[int, Meta(ge=1)]


class _File(msgspec.Struct, frozen=True):
    imufeedback_verdicts: Annotated[int, Meta(ge=1)]
    verdicts: list[KeptVerdict]


class _Written(msgspec.Struct, frozen=True):
    """The same file, each verdict as the bytes that stand there."""

    verdicts: list[msgspec.Raw]


@dataclass(slots=True)
class Verdicts:
    """What is kept beside a recording."""

    all: list[KeptVerdict] = field(default_factory=list)
    """Oldest first."""
    written: list[bytes] = field(default_factory=list)
    """The same as they stand in the file, with what this version does not know."""
    trouble: str = ""
    """Why the file cannot be used; empty when it can, or there is none."""


def look(recording: Path) -> Verdicts:
    """All verdicts, and what is wrong with their file. Nothing is raised: they can be made again."""
    path = verdicts_of(recording)
    if not os.path.lexists(path):
        return Verdicts()
    try:
        return _read(path)
    except BadFile as error:
        return Verdicts(trouble=error.what)


def read_verdicts(recording: Path) -> list[KeptVerdict]:
    """All verdicts, oldest first; empty when there is no file that can be used."""
    return look(recording).all


def _read(path: Path) -> Verdicts:
    """Raises BadFile."""
    try:
        data = read_small(path, BYTES_MAX)
        head = _HEAD.match(data)
        version = int(head[1]) if head else _format(data)
        if version > FORMAT:
            raise _bad(path, f"they have format {version}; this version reads up to {FORMAT}")
        if version == FORMAT:
            if head is None:
                raise _bad(path, "their checksum is missing")
            rest = memoryview(data)[head.end() :]
            if zlib.crc32(rest) != int(head[2], 16):
                raise _bad(path, "their checksum does not fit: the file was damaged or changed by hand")
        data.decode()  # what is passed over below is not looked at: it must be text all the same
        verdicts = msgspec.json.decode(data, type=_File).verdicts  # first: it takes no memory for what it does not know
        written = [bytes(raw) for raw in msgspec.json.decode(data, type=_Written).verdicts]
    except (OSError, ValueError, RecursionError, msgspec.MsgspecError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise _bad(path, f"cannot be read ({reason})") from None
    return Verdicts(verdicts, written)


def _format(data: bytes) -> int:
    """The format of a file that has another head."""
    return msgspec.json.decode(data, type=_Format).imufeedback_verdicts


def _bad(path: Path, what: str) -> BadFile:
    return BadFile(what, where=str(path), hint="check the recording again")


def key_of(version: str, rule_set: str, filter_name: str) -> str:
    """Says whether two judgements were made in the same way."""
    return f"{version}/{filter_name}/{zlib.crc32(rule_set.encode()):08x}"


def add_verdict(recording: Path, summary: Document, *, key: str, rules: str, duration_s: float) -> list[KeptVerdict]:
    """Keep a verdict as the newest; one made in the same way is replaced. Raises CannotWrite.

    The oldest ones go when there are too many; those that stay are written as they stood. A file that cannot be used,
    or is of a newer version, is put aside and not overwritten.
    """
    found = look(recording)
    now = datetime.now(UTC).isoformat(timespec="seconds")
    values = to_json(KeptVerdict(now, summary.version, rules, key, duration_s, summary))
    new = msgspec.convert(values, KeptVerdict)  # what is written can be read: anything else is a fault of the program
    line = json.dumps(values, ensure_ascii=False, allow_nan=False).encode()
    before = [(one, raw) for one, raw in zip(found.all, found.written, strict=True) if one.key != key]
    path = verdicts_of(recording)
    while len(rest := b"[%s]}" % b", ".join([*(raw for _, raw in before), line])) > BYTES_MAX - 1000 and before:
        before = before[1:]
    if found.trouble:
        put_aside(path)
    write_whole(path, b'{"imufeedback_verdicts": %d, "crc32": "%08x", "verdicts": ' % (FORMAT, zlib.crc32(rest)) + rest)
    return [*(one for one, _ in before), new]
