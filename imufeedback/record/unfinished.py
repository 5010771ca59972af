"""Temporary files and folders, remembered until they are gone: a signal may come between any two steps."""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

_there: set[Path] = set()


def begin(path: Path) -> None:
    """This file or folder has just been made, and is not to stay."""
    _there.add(path)


def keep(path: Path) -> None:
    """It is whole now, and stays."""
    _there.discard(path)


def remove(path: Path) -> None:
    """Take it away, if it is still there under this name."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path, ignore_errors=True)
    else:
        with suppress(OSError):
            os.unlink(path)
    _there.discard(path)


def sweep() -> None:
    """At the end of the program: whatever is left."""
    for path in tuple(_there):
        remove(path)


@contextmanager
def scratch_folder(purpose: str) -> Iterator[Path]:
    """A folder for files of one piece of work, readable by this user only; gone afterwards."""
    folder = Path(tempfile.mkdtemp(prefix=f"imufeedback-{purpose}-"))
    begin(folder)
    try:
        yield folder
    finally:
        remove(folder)
