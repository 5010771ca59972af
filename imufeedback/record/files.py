"""Names that every system takes, and files that are never overwritten or half written, and nobody else's to read."""

from __future__ import annotations

import errno
import os
import re
import stat
import time
import unicodedata
import zlib
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
PRIVATE_FILE, PRIVATE_FOLDER = 0o600, 0o700
"""How people move is nobody else's business on a shared computer, whatever its umask says."""
PAUSES_S = (0.05, 0.1, 0.2, 0.4, 0.8)
"""Between tries to rename: a virus scanner or a search index holds a new file for a moment. Chosen."""
LEFT_OVER_S = 3600.0
"""A temporary file older than this is nobody's work any more. Chosen."""
OURS = ("recordings", "players", "fits", "homework")
"""Folders in the data folder that hold what is known of people."""
_PART = ".part"
_PART_BYTES_MAX = 230


def name_key(name: str) -> str:
    """What names of people are compared by: case, composition and blanks around are no difference."""
    return unicodedata.normalize("NFC", " ".join(name.split())).casefold()


def shown_name(path: Path) -> str:
    """A file's name without its suffix as text that can be kept and shown, also one that is no UTF-8."""
    return shown(path.stem)


def shown(path: str | os.PathLike[str]) -> str:
    """A path as text that can be shown, also one that is no UTF-8."""
    return os.fsencode(path).decode("utf-8", "backslashreplace")


def make_folder(folder: Path) -> None:
    """Make a folder and those above it that are missing, for this user alone. Raises OSError."""
    try:
        for one in (*reversed(folder.parents), folder):
            if not one.exists():
                with suppress(FileExistsError):
                    one.mkdir(PRIVATE_FOLDER)
    except ValueError as error:
        raise OSError(errno.EINVAL, str(error)) from None
    if not folder.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR))


def tighten(folder: Path) -> None:
    """Take the rights of others off everything of this user's in a folder; links are not followed.

    What a system or a file system does not allow stays as it is: Windows keeps a user's own folder to the user.
    """
    if os.name != "posix":
        return
    stack = [os.fspath(folder)]
    while stack:
        here = stack.pop()
        with suppress(OSError):
            _tighten_one(here, os.lstat(here))
            with os.scandir(here) as entries:
                for entry in entries:
                    if entry.is_dir(follow_symlinks=False):
                        stack.append(entry.path)
                    else:
                        _tighten_one(entry.path, entry.stat(follow_symlinks=False))


def tighten_data(folder: Path) -> None:
    """The same for the data folder: itself, its own files, and the folders in which people's data lie, wholly."""
    if os.name != "posix":
        return
    with suppress(OSError):
        _tighten_one(os.fspath(folder), os.lstat(folder))
        with os.scandir(folder) as entries:
            for entry in entries:
                if entry.is_file(follow_symlinks=False):
                    _tighten_one(entry.path, entry.stat(follow_symlinks=False))
    for name in OURS:
        tighten(folder / name)


def _tighten_one(path: str, state: os.stat_result) -> None:
    ours = state.st_uid == os.geteuid() and (stat.S_ISREG(state.st_mode) or stat.S_ISDIR(state.st_mode))
    if ours and state.st_mode & 0o077:
        with suppress(OSError):
            os.chmod(path, stat.S_IMODE(state.st_mode) & 0o700)


def read_small(path: Path, at_most: int) -> bytes:
    """The bytes of a regular file of limited size; a pipe or a device is not waited for. Raises OSError."""
    number = os.open(path, os.O_RDONLY | getattr(os, "O_BINARY", 0) | getattr(os, "O_NONBLOCK", 0))
    with open(number, "rb") as file:
        state = os.fstat(number)
        if not stat.S_ISREG(state.st_mode):
            raise OSError(errno.EINVAL, "it is no ordinary file")
        data = b"" if state.st_size > at_most else file.read(at_most + 1)
    if state.st_size > at_most or len(data) > at_most:
        raise OSError(errno.EFBIG, f"it has more than {at_most >> 10} kB")
    return data


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
            return os.open(here, flags, PRIVATE_FILE), here
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


def make_free(path: Path) -> Path:
    """The name, or the first of ``name-2``, ``name-3`` … that nothing has."""
    for number in count(1):
        here = path if number == 1 else path.with_name(f"{path.stem}-{number}{path.suffix}")
        if not os.path.lexists(here):
            return here
    raise AssertionError("count() ends never")  # pragma: no cover


def put_aside(path: Path) -> None:
    """Keep a file that cannot be used as ``name.bak`` before another takes its place; a folder stays where it is."""
    if os.path.lexists(path) and not path.is_dir():
        with suppress(OSError):
            os.replace(path, make_free(path.with_name(f"{path.name}.bak")))


def temporary(path: Path, suffix: str = "") -> Path:
    """Name of the file that is written before it gets its own name; tells whose it is. Two never share one."""
    name = path.name.encode(errors="surrogateescape")
    if len(name) + len(suffix) > _PART_BYTES_MAX:
        name = name[:STEM_BYTES_MAX] + b"~%08x" % zlib.crc32(name)
    return path.with_name(f".{name.decode('utf-8', 'ignore')}{_PART}{suffix}")


def temporaries(path: Path) -> list[Path]:
    """Temporary files that are left of writing a file."""
    stem = temporary(path).name.removesuffix(_PART)
    name = re.compile(rf"{re.escape(stem)}(\.part)?(-\d+)?\.part(-\d+)?(\.\w+)?")
    try:
        return [path.parent / one for one in sorted(os.listdir(path.parent)) if name.fullmatch(one)]
    except OSError:
        return []


def put_in_place(part: Path, path: Path) -> None:
    """Rename a finished file, again and again while somebody holds one of the two for a moment.

    Raises OSError; CannotWrite when it stayed refused: the finished file is then kept and named.
    """
    for pause_s in (*PAUSES_S, None):
        try:
            os.replace(part, path)
            break
        except PermissionError as error:
            if pause_s is None:
                what = f"cannot be put in place ({error.strerror}); all of it is kept as {part.name}"
                raise CannotWrite(what, where=str(path), hint="close what holds the file, then rename it") from None
            time.sleep(pause_s)
    sync_folder(path.parent)
    _clean(path)


def _clean(path: Path) -> None:
    """Remove what earlier tries to write a file left behind, now that it is written."""
    for one in temporaries(path):
        with suppress(OSError):
            if time.time() - one.lstat().st_mtime > LEFT_OVER_S:
                one.unlink()


@contextmanager
def whole_file(path: Path, *, overwrite: bool = False) -> Iterator[IO[str]]:
    """Write a UTF-8 text file that appears under its name only when it is complete.

    Writes to a temporary name in the same folder, syncs, then renames. Raises CannotWrite; an existing file is replaced
    only with `overwrite`.
    """
    refuse_existing(path, overwrite)
    number, part = create_new(temporary(path))
    with _finished(part, path, overwrite), open(number, "w", encoding="utf-8", newline="") as file:
        yield file
        file.flush()
        os.fsync(file.fileno())


@contextmanager
def part_file(path: Path, suffix: str = "", *, overwrite: bool = False) -> Iterator[Path]:
    """The same for libraries that write a file by its name: gives a temporary name, which is renamed at the end.

    `suffix` is for libraries that would change a name without their own.
    """
    refuse_existing(path, overwrite)
    number, part = create_new(temporary(path, suffix))
    os.close(number)
    with _finished(part, path, overwrite):
        yield part
        if not part.stat().st_size:
            raise CannotWrite("nothing was written", where=str(path), hint="choose another name")
        with open(part, "rb+") as file:
            os.fsync(file.fileno())


def write_whole(path: Path, data: bytes) -> None:
    """Replace a small file at once: a crash leaves the old one. Raises CannotWrite."""
    number, part = create_new(temporary(path))
    with _finished(part, path, True), open(number, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(number)


def write_own(path: Path, data: bytes) -> None:
    """The same, and its folder is made when it is missing; what an earlier version left of a save that did not end, a
    file ``.new``, goes. Raises CannotWrite."""
    try:
        make_folder(path.parent)
    except OSError as error:
        raise CannotWrite(f"cannot be written ({error.strerror})", where=str(path), hint="make room") from error
    write_whole(path, data)
    with suppress(OSError):
        path.with_suffix(".new").unlink()


@contextmanager
def _finished(part: Path, path: Path, overwrite: bool) -> Iterator[None]:
    """Around the writing of a temporary file: gives it its name, or removes it when the writing failed."""
    unfinished.begin(part)
    kept = False
    try:
        yield
        refuse_existing(path, overwrite)  # again: somebody may have made it meanwhile
        try:
            put_in_place(part, path)
        except CannotWrite:
            kept = True
            raise
    except BaseException as error:
        if isinstance(error, OSError):
            raise cannot_write(path, error) from None
        raise
    finally:
        if kept:
            unfinished.keep(part)
        else:
            unfinished.remove(part)  # after it got its name there is nothing to remove
