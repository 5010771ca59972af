"""What nobody foresaw: one line for the person, and a file with the details for whoever mends it.

Both command line and windows use it. The file holds no personal data: where in the program it happened, kinds of
errors, versions; no message, no name, no path of the person's own, no value.
"""

from __future__ import annotations

import os
import platform
import sys
import threading
import time
import traceback
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

from imufeedback import __version__
from imufeedback.errors import ImuFeedbackError
from imufeedback.foreign_text import printable

FOLDER = "problems"
KEPT = 20
"""Newest files of details that stay. Chosen."""
FRAMES = 60
"""Of the deepest calls of one error. Chosen: a recursion has a thousand, all alike."""
_ROOT = Path(__file__).parent
_LIBRARIES = ("numpy", "scipy", "msgspec", "mcap", "bleak", "bumble", "miniaudio", "PySide6_Essentials", "pyqtgraph")
_lock = threading.Lock()


def line(error: BaseException, folder: Path) -> str:
    """Keep the details of an error in `folder`, the data folder; returns the line for the person."""
    words = " ".join(str(error).split())[:200]
    what = f"{type(error).__name__}: {words}" if words else type(error).__name__
    if isinstance(error, MemoryError):
        what = "there is not enough memory"
    kept = keep(error, folder)
    told = f"the details are in {kept}, please report them" if kept else "the details could not be kept"
    return printable(f"{what} ({place(error)}) – this was not foreseen; {told}")


def place(error: BaseException) -> str:
    """Where in this program an error arose: file and line, without folders."""
    frames = traceback.extract_tb(error.__traceback__)
    ours = [one for one in frames if Path(one.filename).is_relative_to(_ROOT)] or list(frames)
    return f"{_short(ours[-1].filename)} line {ours[-1].lineno}" if ours else "place unknown"


def keep(error: BaseException, folder: Path) -> Path | None:
    """Write the details to a file of their own, that only this user may read; None where that is not possible."""
    try:
        with _lock:
            return _write(folder / FOLDER, "\n".join(_details(error)) + "\n")
    except (OSError, ValueError):
        return None


def _write(folder: Path, text: str) -> Path:
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    for old in sorted(folder.glob("problem_*.txt"))[: -KEPT + 1]:
        with suppress(OSError):
            old.unlink()
    path = folder / f"problem_{time.strftime('%Y-%m-%d_%H-%M-%S')}_{os.getpid()}_{time.monotonic_ns() % 10**6:06d}.txt"
    number = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(number, "w", encoding="utf-8", errors="backslashreplace") as file:
        file.write(text)
    return path


def _details(error: BaseException) -> Iterator[str]:
    yield f"imufeedback {__version__}, Python {platform.python_version()}, {platform.system()} {platform.machine()}"
    yield ", ".join(_versions())
    yield f"thread {'main' if threading.current_thread() is threading.main_thread() else 'of its own'}"
    seen: set[int] = set()
    one: BaseException | None = error
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        yield f"\n{type(one).__module__}.{type(one).__qualname__}"
        frames = traceback.extract_tb(one.__traceback__)
        yield from (f"  {_short(frame.filename)}:{frame.lineno} {frame.name}" for frame in frames[-FRAMES:])
        one = one.__cause__ or one.__context__


def _versions() -> Iterator[str]:
    from importlib.metadata import PackageNotFoundError, version

    for name in _LIBRARIES:
        with suppress(PackageNotFoundError):
            yield f"{name} {version(name)}"


def _short(filename: str) -> str:
    """A file without the folders above its package: those may hold the person's name."""
    path = Path(filename)
    for mark in ("site-packages", "dist-packages", f"python{sys.version_info.major}.{sys.version_info.minor}"):
        if mark in path.parts:
            return "/".join(path.parts[path.parts.index(mark) + 1 :])
    return "/".join(("imufeedback", *path.relative_to(_ROOT).parts)) if path.is_relative_to(_ROOT) else path.name


def tell_of_threads(tell: Callable[[BaseException], None]) -> Callable[[], None]:
    """Let errors of threads and of clean-up, and what libraries log, go to `tell` instead of being printed with all
    their lines. Returns a function that undoes it."""
    import logging

    before = (threading.excepthook, sys.unraisablehook, logging.lastResort)

    def hook(args: Any) -> None:
        if args.exc_value is not None and not isinstance(args.exc_value, KeyboardInterrupt | SystemExit):
            tell(args.exc_value)

    class LastResort(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            error = record.exc_info[1] if record.exc_info else None
            with suppress(Exception):
                tell(error or ImuFeedbackError(record.getMessage(), where=record.name))

    threading.excepthook, sys.unraisablehook = hook, hook
    logging.lastResort = LastResort(logging.WARNING)

    def restore() -> None:
        threading.excepthook, sys.unraisablehook, logging.lastResort = before

    return restore
