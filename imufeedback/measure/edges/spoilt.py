"""Files spoilt in the ways in which files are: by hand, by another program, by a disk, on purpose."""

from __future__ import annotations

import os
import re
import string
from collections.abc import Callable
from functools import partial
from pathlib import Path

import numpy as np

ODD_NUMBERS = (
    *("nan", "-nan", "inf", "-inf", "1e308", "-1e308", "1e999", "0", "-0.0", "-1", "2147483648", "9223372036854775808"),
    *("9" * 5000, "0x10", "true", "''", '"text"', "[]", "{}", "[[1]]", "1979-05-27", "1e-320", "NaN", "Infinity"),
)
ODD_WORDS = ("\x1b[31m", "=1+1", "\u202e", "\ud800", "Ł", "🏌", "\x00", "../../x", "a" * 70_000, "null", "", " ", "\n")
_NUMBER = re.compile(r"-?\d+\.?\d*")
_WORD = re.compile(r"[a-z_-]{3,}")

Spoil = Callable[[bytes, np.random.Generator], bytes]


def _bit(data: bytes, rng: np.random.Generator) -> bytes:
    out = bytearray(data)
    out[int(rng.integers(len(out)))] ^= 1 << int(rng.integers(8))
    return bytes(out)


def _cut(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(len(data)))]


def _garbage(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data)))
    return data[:at] + rng.bytes(int(rng.integers(1, 300))) + data[at:]


def _number(data: bytes, rng: np.random.Generator) -> bytes:
    return _replaced(_NUMBER, data, rng, lambda old: str(rng.choice(ODD_NUMBERS)))


def _word(data: bytes, rng: np.random.Generator) -> bytes:
    return _replaced(_WORD, data, rng, lambda old: str(rng.choice(ODD_WORDS)))


def _misspelt(data: bytes, rng: np.random.Generator) -> bytes:
    def change(old: str) -> str:
        at = int(rng.integers(len(old)))
        return old[:at] + str(rng.choice(list(string.ascii_lowercase))) + old[at + int(rng.integers(2)) :]

    return _replaced(_WORD, data, rng, change)


def _line(data: bytes, rng: np.random.Generator) -> bytes:
    """A line left out, twice, or in another place."""
    lines = data.split(b"\n")
    one = lines.pop(int(rng.integers(len(lines))))
    for _ in range(int(rng.integers(3))):
        lines.insert(int(rng.integers(len(lines) + 1)), one)
    return b"\n".join(lines)


def _deep(data: bytes, rng: np.random.Generator) -> bytes:
    depth = int(rng.choice([50, 2000, 100_000]))
    opened, closed = (b"[", b"]") if rng.random() < 0.7 else (b'{"a":', b"}")
    nest = opened * depth + b"1" + closed * depth
    return nest if rng.random() < 0.3 else data + b"\ndeep = " + nest


def _dotted(data: bytes, rng: np.random.Generator) -> bytes:
    return data + b"\n" + b".".join([b"a"] * int(rng.choice([500, 20_000]))) + b" = 1"


def _long(data: bytes, rng: np.random.Generator) -> bytes:
    return data + b"\n# " + b"x" * int(rng.choice([1 << 19, 1 << 21, 1 << 24]))


def _other_code(data: bytes, rng: np.random.Generator) -> bytes:
    text = data.decode("utf-8", "replace").replace("e", "é")
    return text.encode(str(rng.choice(["latin-1", "utf-16", "utf-32", "utf-8-sig", "cp037"])), "replace")


def _nothing(data: bytes, rng: np.random.Generator) -> bytes:
    return bytes(rng.choice([b"", b"\n", b"\x00" * 64, b"null", b"[]", b"{}", b"0", b'""']))


WAYS: tuple[Spoil, ...] = (
    *(_bit, _cut, _garbage, _number, _number, _word, _misspelt, _misspelt, _line, _deep, _dotted, _long),
    *(_other_code, _nothing),
)


def spoilt(data: bytes, rng: np.random.Generator) -> bytes:
    """The file with one to three things wrong."""
    for _ in range(int(rng.integers(1, 4))):
        data = WAYS[int(rng.integers(len(WAYS)))](data or b"\n", rng)
    return data


def _replaced(pattern: re.Pattern[str], data: bytes, rng: np.random.Generator, change: Callable[[str], str]) -> bytes:
    text = data.decode("utf-8", "surrogateescape")
    found = list(pattern.finditer(text))
    if not found:
        return data
    one = found[int(rng.integers(len(found)))]
    return (text[: one.start()] + change(one.group()) + text[one.end() :]).encode("utf-8", "surrogatepass")


def odd_files(path: Path) -> list[Callable[[], None]]:
    """What can stand under a file's name and is no file: each call puts another one there."""
    targets = ["nowhere", path.name, *(one for one in ("/dev/zero", "/dev/null", "/dev/full") if Path(one).exists())]
    made: list[Callable[[], None]] = [path.mkdir, *(partial(path.symlink_to, one) for one in targets)]
    if hasattr(os, "mkfifo"):
        made.append(partial(os.mkfifo, path))
    return made
