"""Small text files that people and other programs write: read here and nowhere else.

Only regular files (a pipe would wait for ever, a device never end), only up to a size, only UTF-8.
"""

from __future__ import annotations

import json
import os
import stat
from pathlib import Path
from typing import Any, BinaryIO

from imufeedback.errors import BadFile

TEXT_MAX = 1 << 20
"""Bytes. The largest file that the tool writes itself, sixty days of curves, has a tenth of it."""
HINT = "move it away, or correct it"

_KINDS = ((stat.S_ISDIR, "a folder"), (stat.S_ISFIFO, "a pipe"), (stat.S_ISSOCK, "a socket"))


def read_bytes(path: Path, *, limit: int = TEXT_MAX, hint: str = HINT) -> bytes:
    """The whole file. Raises FileNotFoundError when nothing has this name, BadFile, in one line, for anything else: no
    regular file, a link that leads nowhere, no right to read, more than `limit` bytes."""
    with open_regular(path, hint=hint) as file:
        try:
            data = file.read(limit + 1)
        except OSError as error:
            raise _cannot(path, error, hint) from None
    if len(data) > limit:
        what = f"it is longer than {limit >> 10} kB, so it is not what it should be"
        raise BadFile(what, where=str(path), hint=hint)
    return data


def read_text(path: Path, *, limit: int = TEXT_MAX, hint: str = HINT) -> str:
    """The same as text; a byte order mark is left out. Raises also BadFile for what is not UTF-8."""
    data = read_bytes(path, limit=limit, hint=hint)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        what = f"line {line} is not UTF-8 text"
        raise BadFile(what, where=str(path), hint="save it as UTF-8") from None


def read_json(path: Path, *, limit: int = TEXT_MAX, hint: str = HINT) -> Any:
    """The same as a JSON document. Raises also BadFile for what is no JSON, or nested too deeply."""
    return parse_json(read_text(path, limit=limit, hint=hint), str(path), hint=hint)


def parse_json(text: str, where: str, *, hint: str = HINT) -> Any:
    """Values of a JSON text. Raises BadFile."""
    try:
        return json.loads(text)
    except RecursionError:
        raise BadFile("it is nested too deeply", where=where, hint=hint) from None
    except ValueError as error:  # also an integer of thousands of digits
        raise BadFile(f"it is no JSON ({error})", where=where, hint=hint) from None


def open_regular(path: Path, *, hint: str = HINT) -> BinaryIO:
    """Open a file for reading, unbuffered by anything that waits: a pipe or device is refused at once.

    Raises FileNotFoundError and BadFile as `read_bytes`.
    """
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        refuse_odd(path, os.stat(path).st_mode, hint)  # before it is opened: opening alone can do something to a device
        number = os.open(path, flags)
        try:
            refuse_odd(path, os.fstat(number).st_mode, hint)
            return os.fdopen(number, "rb")
        except BaseException:
            os.close(number)
            raise
    except (FileNotFoundError, NotADirectoryError) as error:
        if os.path.islink(path):
            raise BadFile("the link leads nowhere", where=str(path), hint=hint) from None
        raise FileNotFoundError(error.errno, error.strerror, str(path)) from None
    except (OSError, ValueError) as error:
        raise _cannot(path, error, hint) from None


def refuse_odd(path: Path, mode: int, hint: str = HINT) -> None:
    """Raises BadFile for anything but a regular file."""
    if not stat.S_ISREG(mode):
        what = next((name for is_kind, name in _KINDS if is_kind(mode)), "a device")
        raise BadFile(f"this is {what}, no file", where=str(path), hint=hint)


def _cannot(path: Path, error: OSError | ValueError, hint: str) -> BadFile:
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return BadFile(f"it cannot be read ({reason})", where=str(path), hint=hint)
