"""Verdicts on a recording, beside it: every judgement is kept, so that an old one stands beside today's.

The file is one JSON object on one line, ``{"imufeedback_verdicts": 2, "crc32": "…", "verdicts": […]}``; the checksum is
a CRC-32 of the bytes of the array. What does not fit is not used: the recording can be judged again. Format 1 had no
checksum; such a file is still read when everything in it is of the right kind.
"""

from __future__ import annotations

import json
import math
import os
import re
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, Any

import msgspec
from msgspec import Meta

from imufeedback.errors import BadFile
from imufeedback.record.files import put_aside, read_small, write_whole
from imufeedback.record.library.places import verdicts_of

FORMAT = 2
BYTES_MAX = 28 << 20
"""An eight-hour day judged eight times is below this. The worst JSON of that size takes 0.9 GB to look at."""
_HEAD = re.compile(rb'\{"imufeedback_verdicts": (\d{1,6}), "crc32": "([0-9a-f]{8})", "verdicts": ')
_Index = Annotated[int, Meta(ge=0, le=10**9)]
Number = float | None


class _Finding(msgspec.Struct, frozen=True):
    rule: str
    verdict: str
    t_s: Number
    value: Number
    limit: Number


class _Cue(msgspec.Struct, frozen=True):
    sound: str
    t_s: float


class _Rep(msgspec.Struct, frozen=True):
    index: _Index
    kind: str
    start_s: float
    end_s: float
    marks: dict[str, float]
    features: dict[str, float]
    findings: list[_Finding]
    cues: list[_Cue]
    estimated: list[str] = []
    tones: bool | None = None
    void: str | None = None


class _Segment(msgspec.Struct, frozen=True):
    level: str
    sd_deg: Number
    reason: str | None = None


class _Fit(msgspec.Struct, frozen=True):
    level: str
    segments: dict[str, _Segment] = {}


class _Block(msgspec.Struct, frozen=True):
    name: str | None = None
    role: str | None = None
    drill: str | None = None
    begin_s: Number = None
    reps: _Index | None = None
    clean: _Index | None = None
    share: Number = None


class _Sensor(msgspec.Struct, frozen=True):
    role: str
    samples: _Index
    saturated: _Index
    lost: _Index = 0


class _Summary(msgspec.Struct, frozen=True):
    version: str
    reps: list[_Rep]
    fit: _Fit | None = None
    sensors: list[_Sensor] = []
    totals: dict[str, Number] = {}
    blocks: list[_Block] | None = None
    notes: list[str] = []


class _Verdict(msgspec.Struct, frozen=True):
    judged_utc: str
    version: str
    rules: str
    key: str
    duration_s: float
    summary: _Summary


class _Format(msgspec.Struct, frozen=True):
    imufeedback_verdicts: Annotated[int, Meta(ge=1)]


class _File(msgspec.Struct, frozen=True):
    imufeedback_verdicts: Annotated[int, Meta(ge=1)]
    verdicts: list[_Verdict]


@dataclass(slots=True)
class Verdicts:
    """What is kept beside a recording."""

    all: list[dict[str, Any]] = field(default_factory=list)
    """Oldest first: ``judged_utc``, ``version``, ``rules`` (title), ``key``, ``duration_s``, ``summary``."""
    trouble: str = ""
    """Why the file cannot be used; empty when it can, or there is none."""


def look(recording: Path) -> Verdicts:
    """All verdicts, and what is wrong with their file. Nothing is raised: they can be made again."""
    path = verdicts_of(recording)
    if not os.path.lexists(path):
        return Verdicts()
    try:
        return Verdicts(_read(path))
    except BadFile as error:
        return Verdicts(trouble=error.what)


def read_verdicts(recording: Path) -> list[dict[str, Any]]:
    """All verdicts, oldest first; empty when there is no file that can be used."""
    return look(recording).all


def _read(path: Path) -> list[dict[str, Any]]:
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
        msgspec.json.decode(data, type=_File)  # first: it takes no memory for what it does not know
        found: list[dict[str, Any]] = msgspec.json.decode(data)["verdicts"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError, msgspec.MsgspecError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise _bad(path, f"cannot be read ({reason})") from None
    return found


def _format(data: bytes) -> int:
    """The format of a file that has another head."""
    return msgspec.json.decode(data, type=_Format).imufeedback_verdicts


def _plain(value: Any) -> Any:
    """JSON has no infinities and no NaN: they become null; features and marks that are not known are left out."""
    if isinstance(value, Mapping):
        found = {key: _plain(one) for key, one in value.items()}
        for name in found.keys() & {"features", "marks"}:
            found[name] = {key: one for key, one in found[name].items() if one is not None}
        return found
    if isinstance(value, list | tuple):
        return [_plain(one) for one in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _array(verdicts: list[dict[str, Any]]) -> bytes:
    """With the end of the file's object."""
    return json.dumps(verdicts, ensure_ascii=False, allow_nan=False).encode() + b"}"


def _bad(path: Path, what: str) -> BadFile:
    return BadFile(what, where=str(path), hint="judge the recording again")


def key_of(version: str, rule_set: str, filter_name: str) -> str:
    """Says whether two judgements were made in the same way."""
    return f"{version}/{filter_name}/{zlib.crc32(rule_set.encode()):08x}"


def add_verdict(
    recording: Path, summary: Mapping[str, Any], *, key: str, rules: str, duration_s: float
) -> list[dict[str, Any]]:
    """Keep a verdict as the newest; one made in the same way is replaced. Raises CannotWrite.

    The oldest ones go when there are too many. A file that cannot be used, or is of a newer version, is put aside and
    not overwritten.
    """
    found = look(recording)
    before = [one for one in found.all if one["key"] != key]
    new: dict[str, Any] = {
        "judged_utc": datetime.now(UTC).isoformat(timespec="seconds"),
        "version": summary["version"],
        "rules": rules,
        "key": key,
        "duration_s": duration_s,
        "summary": _plain(dict(summary)),
    }
    msgspec.convert(new, _Verdict)  # what is written can be read: anything else is a fault of the program
    path = verdicts_of(recording)
    while len(rest := _array([*before, new])) > BYTES_MAX - 1000 and before:
        before = before[1:]
    if found.trouble:
        put_aside(path)
    write_whole(path, b'{"imufeedback_verdicts": %d, "crc32": "%08x", "verdicts": ' % (FORMAT, zlib.crc32(rest)) + rest)
    return [*before, new]
