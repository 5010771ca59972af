"""Names that every system takes, and files that are never overwritten or half written."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import count
from pathlib import Path
from typing import IO

from imufeedback.errors import CannotWrite
from imufeedback.record import unfinished

_FORBIDDEN = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]')
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
STEM_BYTES_MAX = 180
"""File systems take 255 bytes a name; the rest is for a counter, a suffix and a temporary part."""


def safe_stem(text: str) -> str:
    """A file name without suffix for a text that a person wrote, allowed on Windows, macOS and Linux.

    As like the text as can be: composed (NFC), no forbidden character, no reserved device name, no dot or blank at the
    ends, not too long; never empty. Two texts may give one name; `create_new` keeps their files apart.
    """
    stem = _FORBIDDEN.sub("_", unicodedata.normalize("NFC", text))
    stem = stem.encode("utf-8", "replace")[:STEM_BYTES_MAX].decode("utf-8", "ignore").strip(" .")
    if stem.split(".")[0].rstrip().casefold() in _RESERVED:
        stem = f"_{stem}"
    return stem or "recording"


def create_new(path: Path) -> tuple[int, Path]:
    """Create a file that did not exist, and open it for writing.

    Where `path` is taken, `name-2`, `name-3` … are tried; creation is exclusive, so two programs at once get two files.

    Returns:
        file descriptor, and the path that was created.

    Raises CannotWrite when the folder is missing or does not allow it.
    """
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)
    for number in count(1):
        here = path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        try:
            return os.open(here, flags, 0o666), here
        except FileExistsError:
            continue
        except (OSError, ValueError) as error:
            raise cannot_write(here, error) from None
    raise AssertionError("count() ends never")  # pragma: no cover


def sync_folder(folder: Path) -> None:
    """Ask the system to put the folder's own entries on the disk, so that a new name survives a power loss.

    Where a system has no such thing (Windows), or a file system refuses, there is nothing to do.
    """
    with suppress(OSError):
        number = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(number)
        finally:
            os.close(number)


def cannot_write(path: Path, error: Exception) -> CannotWrite:
    """The one-line error for an output that failed."""
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return CannotWrite(f"cannot write ({reason})", where=str(path), hint="choose another folder or make room")


def refuse_existing(path: Path, overwrite: bool) -> None:
    """Raises CannotWrite when the file is there and may not be replaced."""
    if not overwrite and os.path.lexists(path):
        raise CannotWrite("is already there", where=str(path), hint="choose another name, or remove it first")


@contextmanager
def whole_file(path: Path, *, overwrite: bool = False) -> Iterator[IO[str]]:
    """Write a UTF-8 text file that appears under its name only when it is complete.

    Writes to a temporary name in the same folder, syncs, then renames. Raises CannotWrite; an existing file is replaced
    only with `overwrite`.
    """
    refuse_existing(path, overwrite)
    number, part = create_new(path.with_name(f".{path.stem[:40]}.part"))
    unfinished.begin(part)
    try:
        with open(number, "w", encoding="utf-8", newline="") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        refuse_existing(path, overwrite)  # again: somebody may have made it meanwhile
        os.replace(part, path)
        sync_folder(path.parent)
    except BaseException as error:
        unfinished.remove(part)
        if isinstance(error, OSError):
            raise cannot_write(path, error) from None
        raise
    unfinished.remove(part)


@contextmanager
def part_file(path: Path, suffix: str = ".part", *, overwrite: bool = False) -> Iterator[Path]:
    """The same for libraries that write a file by its name: gives a temporary name, which is renamed at the end.

    `suffix` is for libraries that would change a name without their own.
    """
    refuse_existing(path, overwrite)
    number, part = create_new(path.with_name(f".{path.stem[:40]}.part{suffix}"))
    unfinished.begin(part)
    os.close(number)
    try:
        yield part
        if not part.stat().st_size:
            raise CannotWrite("nothing was written", where=str(path), hint="choose another name")
        with open(part, "rb+") as file:
            os.fsync(file.fileno())
        refuse_existing(path, overwrite)
        os.replace(part, path)
        sync_folder(path.parent)
    except BaseException as error:
        unfinished.remove(part)
        if isinstance(error, OSError):
            raise cannot_write(path, error) from None
        raise
    unfinished.remove(part)
