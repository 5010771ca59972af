"""Ways to spoil a file, and where they are tried."""

from __future__ import annotations

import json
import os
import sqlite3
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

Spoil = Callable[[Path, np.random.Generator], None]
DEEP = 100_000
WORDS = ("imufeedback_verdicts", "verdicts", "summary", "reps", "index", "features", "findings", "verb", "text", "rep",
         "crc", "version", "key", "player", "name", "format", "hand", "day", "fit")  # fmt: skip

WRONG: dict[str, tuple[Any, ...]] = {
    "index": (-1, "a", 1.5, None, 10**30, True),
    "kind": (1, None, []),
    "start_s": ("a", None, [], {}),
    "end_s": ("a", None, False),
    "positions": (5, [1], {"a": "b"}, {"a": None}, None),
    "features": (5, [1], {"a": "b"}, {"a": [1]}, "x"),
    "findings": (5, {}, [5], [{}], [{"rule": 1, "verdict": "fault", "t_s": 1.0, "value": 1.0, "limit": 1.0}]),
    "cues": (5, [{}], [{"sound": 1, "t_s": 1.0}], None),
}

WRONG_EDIT: dict[str, tuple[Any, ...]] = {
    "verb": (1, None, [], "newer", ""),
    "text": (1, None, [], {"a": 1}, "long " * 3000),
    "rep": (-1, True, "a", 1.5, 10**30, []),
    "offset_s": ("a", 1e300, [], True),
}


def _remove(path: Path) -> None:
    if path.is_dir() and not path.is_symlink():
        path.rmdir()
    else:
        path.unlink(missing_ok=True)


def any_value(rng: np.random.Generator, depth: int = 0) -> Any:
    """A JSON value of any kind."""
    kind = int(rng.integers(11 if depth < 4 else 8))
    if kind >= 8:
        size = int(rng.integers(4))
        if kind == 8:
            return [any_value(rng, depth + 1) for _ in range(size)]
        return {str(rng.choice(WORDS)): any_value(rng, depth + 1) for _ in range(size)}
    plain = (None, True, -1, 10**30, 1e300, "", "a\x00\x1b[31m=1+1", 0.5)
    return plain[kind]


def noise(path: Path, rng: np.random.Generator) -> None:
    path.write_bytes(rng.bytes(int(rng.integers(0, 3000))))


def flipped(path: Path, rng: np.random.Generator) -> None:
    """One to three bits."""
    data = bytearray(path.read_bytes())
    for at in rng.integers(len(data), size=int(rng.integers(1, 4))):
        data[at] ^= 1 << int(rng.integers(8))
    path.write_bytes(data)


def cut(path: Path, rng: np.random.Generator) -> None:
    """Short, but not between two lines: there it is a file as it was some time before."""
    data = path.read_bytes()
    at = int(rng.integers(1, len(data)))
    path.write_bytes(data[: at + (data[at - 1 : at] == b"\n")])


def doubled(path: Path, rng: np.random.Generator) -> None:
    data = path.read_bytes()
    at = int(rng.integers(1, len(data)))
    path.write_bytes(data[:at] + data)


def empty(path: Path, rng: np.random.Generator) -> None:
    path.write_bytes(b"")


def deep(path: Path, rng: np.random.Generator) -> None:
    opening = b"[" if rng.random() < 0.5 else b'{"verdicts": '
    path.write_bytes(opening * DEEP)


def other_structure(path: Path, rng: np.random.Generator) -> None:
    document = any_value(rng)
    if rng.random() < 0.5:
        document = {"imufeedback_verdicts": 1, "verdicts": [any_value(rng), {"summary": {"reps": [any_value(rng)]}}]}
    path.write_text(json.dumps(document), encoding="utf-8")


def with_checksum(path: Path, rng: np.random.Generator) -> None:
    """Verdicts whose checksum fits, with one value of a wrong kind."""
    rep = {"index": 0, "kind": "swing", "start_s": 1.0, "end_s": 2.0, "positions": {}, "features": {}, "findings": [],
           "cues": []}  # fmt: skip
    key = str(rng.choice(list(rep)))
    rep[key] = WRONG[key][int(rng.integers(len(WRONG[key])))]
    verdict = {"judged_utc": "", "version": "1", "rules": "", "key": "", "duration_s": 1.0,
               "summary": {"version": "1", "reps": [rep]}}  # fmt: skip
    if rng.random() < 0.3:
        verdict["summary"] = any_value(rng)
    rest = json.dumps([verdict]).encode() + b"}"
    path.write_bytes(b'{"imufeedback_verdicts": 2, "crc32": "%08x", "verdicts": ' % zlib.crc32(rest) + rest)


def edits_with_checksum(path: Path, rng: np.random.Generator) -> None:
    """A line more, with one value of a wrong kind, whose checksum fits."""
    line: dict[str, Any] = {
        "at": any_value(rng),
        "verb": str(rng.choice(["tag", "note", "discard", "player", "title"])),
    }
    key = str(rng.choice(list(WRONG_EDIT)))
    line[key] = WRONG_EDIT[key][int(rng.integers(len(WRONG_EDIT[key])))]
    crc = zlib.crc32(json.dumps(line, sort_keys=True, ensure_ascii=False).encode())
    with path.open("ab") as file:
        file.write(json.dumps({**line, "crc": f"{crc:08x}"}, ensure_ascii=False).encode() + b"\n")


def huge_numbers(path: Path, rng: np.random.Generator) -> None:
    path.write_text('{"imufeedback_verdicts": 1, "verdicts": [' + "9" * 5000 + "]}", encoding="utf-8")


def no_utf8(path: Path, rng: np.random.Generator) -> None:
    path.write_bytes('name = "Müller"\n{"player": "Müller"}\n'.encode("latin-1") + path.read_bytes())


def folder(path: Path, rng: np.random.Generator) -> None:
    _remove(path)
    path.mkdir()


def dangling(path: Path, rng: np.random.Generator) -> None:
    _remove(path)
    path.symlink_to("nowhere")


def loop(path: Path, rng: np.random.Generator) -> None:
    _remove(path)
    path.symlink_to(path.name)


def pipe(path: Path, rng: np.random.Generator) -> None:
    _remove(path)
    os.mkfifo(path)


def device(path: Path, rng: np.random.Generator) -> None:
    _remove(path)
    path.symlink_to("/dev/zero")


def strange_name(path: Path, rng: np.random.Generator) -> None:
    """The session under a name that is no UTF-8."""
    stem = b"na\xefve " + bytes(rng.integers(128, 256, 3, dtype=np.uint8))
    for one in path.parent.iterdir():
        if one.name.startswith(f"{path.stem}."):
            one.rename(one.with_name(os.fsdecode(stem) + one.name.removeprefix(path.stem)))


def other_tables(path: Path, rng: np.random.Generator) -> None:
    path.unlink()
    with sqlite3.connect(path) as other:
        other.execute("CREATE TABLE reps (a)")
        other.execute("INSERT INTO reps VALUES (1)")
    other.close()


_ANY: tuple[Spoil, ...] = (noise, flipped, cut, empty, deep, other_structure, huge_numbers, no_utf8, folder)
_LINKS: tuple[Spoil, ...] = (dangling, loop, pipe, device) if hasattr(os, "mkfifo") else ()
_BY_PLACE: dict[str, tuple[Spoil, ...]] = {
    "edits": (*_ANY, edits_with_checksum, *_LINKS),
    "verdicts": (*_ANY, with_checksum, doubled, *_LINKS),
    "recording": (noise, cut, empty, folder, *_LINKS),
    "trace": (*_ANY, doubled, *_LINKS),
    "index": (noise, flipped, cut, empty, folder, other_tables, doubled, *_LINKS),
    "player": (*_ANY, *_LINKS),
    "fit": (*_ANY, *_LINKS),
    "name": (strange_name,) if os.name == "posix" else (),
}
PLACES: tuple[tuple[str, Spoil], ...] = tuple(
    (f"{place}: {act.__name__.replace('_', ' ')}", act) for place, acts in _BY_PLACE.items() for act in acts
)
"""Kind (place and what is done), and the deed."""
