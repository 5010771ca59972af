"""Standard output and error as they are given: closed, full, a pipe that nobody reads any more, an old code page."""

from __future__ import annotations

import errno
import os
import sys
from contextlib import suppress
from typing import Any, TextIO, cast

GONE = 141
"""Exit status when the reader of a pipe has gone away (``| head``), as shells give it: 128 and SIGPIPE."""
_READER_GONE = (errno.EPIPE, errno.ESHUTDOWN, errno.EINVAL)
"""Windows gives EINVAL for a pipe without a reader."""


class OutputLost(Exception):
    """Standard output takes nothing any more. No OSError: libraries have answers of their own to those."""

    def __init__(self, error: OSError) -> None:
        super().__init__(f"the output cannot be written ({error.strerror or error})")
        self.reader_gone = error.errno in _READER_GONE


class _Output:
    """Standard output whose errors can be told from those of other files."""

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream

    def write(self, text: str) -> int:
        try:
            return self.stream.write(text)
        except OSError as error:
            raise OutputLost(error) from None

    def flush(self) -> None:
        try:
            self.stream.flush()
        except OSError as error:
            raise OutputLost(error) from None

    def __getattr__(self, name: str) -> Any:
        return getattr(self.stream, name)


def prepare() -> None:
    """Give every character a way out, and numbers 0 to 2 something behind them: else the next file that is opened would
    get the number of a closed one, and libraries would write their messages into it."""
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # takes the lowest free number
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - for the rest of the process
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")  # a letter that cp1252 has not stands there as its number
    sys.stdout = cast("TextIO", _Output(sys.stdout))


def restore() -> None:
    """Standard output as it was, for callers that live on."""
    if isinstance(sys.stdout, _Output):
        sys.stdout = sys.stdout.stream


def flush() -> OutputLost | None:
    """Write what waits. Returns why that is not possible."""
    try:
        sys.stdout.flush()
    except OutputLost as error:
        return error
    except ValueError:  # closed
        return None
    return None


def settle() -> None:
    """What standard error does not take goes nowhere: the interpreter would try again at its end."""
    try:
        sys.stderr.flush()
    except (OSError, ValueError):
        _to_nowhere(sys.stderr)


def give_up() -> None:
    """What still waits for standard output goes nowhere: the interpreter would try again at its end, and complain."""
    _to_nowhere(sys.stdout)


def _to_nowhere(stream: TextIO) -> None:
    with suppress(OSError, ValueError):
        number = os.open(os.devnull, os.O_WRONLY)
        os.dup2(number, stream.fileno())
        os.close(number)
