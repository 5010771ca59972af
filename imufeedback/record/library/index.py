"""The index's file: checked when it is opened, shared between processes, and never taken away under one that uses it.

Beside ``index.sqlite`` lie ``index.lock`` (held, shared, by every process that has the index open) and, while nobody
has changed anything, ``index.sum`` (a CRC-32 of the whole file: SQLite's own check sees a broken structure, but not a
changed number). A damaged index is made again by the process that holds the lock alone. Whoever cannot use the file
works with an index in memory, and says why: it holds nothing that the recordings do not.
"""

from __future__ import annotations

import errno
import os
import sqlite3
import sys
import time
import zlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

from imufeedback.record.files import PRIVATE_FILE, write_whole

WAIT_S = 5.0
"""So long one process waits for another. Chosen: a batch of fifty recordings is written in well under a second."""
_PAUSE_S = 0.05
_CHUNK_BYTES = 1 << 22
_BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


class _DamagedError(Exception):
    """The file cannot be used, or is of another version; the text says why, and is empty for another version."""


class Index:
    """A connection to the index, on disk or in memory."""

    def __init__(self, path: Path | None, schema: str, version: int) -> None:
        """`path` None: in memory. `trouble` says why it is in memory although a path was given, or was made again."""
        self._schema, self._version = schema, version
        self.path = path
        self.trouble = ""
        self._lock = _Lock(None)
        self._clean = False
        if path is not None:
            self._lock = _Lock(path.with_suffix(".lock"))
            connection = self._on_disk(path)
            if connection is not None:
                self._connection = connection
                return
            self._lock.release()
            self.path = None
        self._connection = _prepared(":memory:", schema, version)

    @property
    def on_disk(self) -> bool:
        return self.path is not None

    def _on_disk(self, path: Path) -> sqlite3.Connection | None:
        for _ in range(2):
            try:
                return self._checked(path)
            except _DamagedError as error:
                if not self._lock.alone():
                    self.trouble = "the index is damaged, and another program uses it: close that, and open again"
                    return None
                if str(error):
                    self.trouble = f"the index was damaged ({error}); it has been made again from the recordings"
                _remove(path)
            except (OSError, sqlite3.Error) as error:
                self.trouble = why(error)
                return None
        return None

    def _checked(self, path: Path) -> sqlite3.Connection:
        """Raises _DamagedError; OSError or sqlite3.Error for a file that cannot be used now."""
        if os.path.lexists(path) and not path.is_file():
            raise OSError(errno.EINVAL, "it is no ordinary file")
        os.close(os.open(path, os.O_RDWR | os.O_CREAT, PRIVATE_FILE))
        self._clean = self._lock.alone() and _sum_of(path).exists() and not _waiting(path)
        if self._clean and _read_sum(path) != _sum(path):
            raise _DamagedError("its checksum does not fit")
        if not self._lock.share():
            raise OSError(errno.EBUSY, "another program makes it again")
        try:
            connection = _patiently(lambda: _prepared(path, self._schema, self._version))
            if not self._clean:
                _check(connection)
        except sqlite3.DatabaseError as error:
            if _code(error) in (*_DAMAGED, sqlite3.SQLITE_ERROR):
                raise _DamagedError(str(error)) from None
            raise
        return connection

    def ask(self, sql: str, values: Sequence[Any] = ()) -> sqlite3.Cursor:
        return self._connection.execute(sql, values)

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction. Raises sqlite3.Error, also when another process does not let go in time."""
        self._spoil()
        self._connection.execute("BEGIN IMMEDIATE")
        try:
            yield self._connection
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise
        self._connection.execute("COMMIT")

    def _spoil(self) -> None:
        """From here on the checksum does not hold."""
        if self.path is not None:
            _sum_of(self.path).unlink(missing_ok=True)
            self._clean = False

    def scrub(self) -> bool:
        """Leave nothing of what was deleted, in the file or its log; False when another process is in the way."""
        if self.path is None:
            return True
        self._spoil()
        try:
            self._connection.execute("VACUUM")
            busy = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
        except sqlite3.OperationalError:
            return False
        return not busy

    def close(self, *, good: bool = True) -> None:
        """Close, and seal the file when nobody else uses it. One that was found damaged is never sealed."""
        if not good:
            with suppress(OSError):
                self._spoil()
        with suppress(sqlite3.Error):
            self._connection.close()
        if self.path is not None and good and not self._clean and self._lock.alone() and not _waiting(self.path):
            with suppress(OSError):
                write_whole(_sum_of(self.path), f"{_sum(self.path)}\n".encode())
        self._lock.release()


def _prepared(path: Path | str, schema: str, version: int) -> sqlite3.Connection:
    connection = sqlite3.connect(path, timeout=WAIT_S, isolation_level=None)
    try:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("PRAGMA synchronous = NORMAL")
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA secure_delete = ON")
        connection.execute("BEGIN IMMEDIATE")
        found = connection.execute("PRAGMA user_version").fetchone()[0]
        if found == 0:
            for statement in (*schema.split(";"), f"PRAGMA user_version = {version}"):
                connection.execute(statement)
        connection.execute("COMMIT")
        if found not in (0, version):
            raise _DamagedError
    except BaseException:
        connection.close()
        raise
    return connection


def _check(connection: sqlite3.Connection) -> None:
    try:
        found = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if found == "ok":
            return
    except BaseException:
        connection.close()
        raise
    connection.close()
    raise _DamagedError(str(found))


def _patiently(work: Callable[[], sqlite3.Connection]) -> sqlite3.Connection:
    """Some of SQLite's steps do not wait by themselves."""
    until_s = time.monotonic() + WAIT_S
    while True:
        try:
            return work()
        except sqlite3.OperationalError as error:
            if _code(error) not in _BUSY or time.monotonic() > until_s:
                raise
            time.sleep(_PAUSE_S)


def _code(error: sqlite3.Error) -> int:
    """The primary code; errors of the Python module itself have none."""
    return getattr(error, "sqlite_errorcode", 0) & 0xFF


def why(error: Exception) -> str:
    """In one line."""
    if isinstance(error, sqlite3.Error) and _code(error) in _BUSY:
        return f"another program holds the index (waited {WAIT_S:.0f} s): close it; the list was made without it"
    reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
    return f"the index cannot be used ({reason}); the list was made without it"


def _remove(path: Path) -> None:
    """Raises OSError."""
    for one in (_sum_of(path), *(Path(f"{path}{end}") for end in ("-wal", "-shm", "-journal", ""))):
        one.unlink(missing_ok=True)


def _waiting(path: Path) -> bool:
    """Whether changes lie in the log beside the file: then its own checksum says nothing."""
    try:
        return Path(f"{path}-wal").stat().st_size > 0
    except OSError:
        return False


def _sum_of(path: Path) -> Path:
    return path.with_suffix(".sum")


def _read_sum(path: Path) -> str:
    try:
        return _sum_of(path).read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def _sum(path: Path) -> str:
    crc = size = 0
    with open(path, "rb") as file:
        while data := file.read(_CHUNK_BYTES):
            crc, size = zlib.crc32(data, crc), size + len(data)
    return f"{crc:08x} {size}"


class _Lock:
    """A file that tells processes of each other."""

    def __init__(self, path: Path | None) -> None:
        self._number: int | None = None
        if path is not None and sys.platform != "win32":
            with suppress(OSError):
                self._number = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NONBLOCK, PRIVATE_FILE)

    def _take(self, exclusive: bool) -> bool:
        if sys.platform == "win32":  # pragma: no cover - there the system lets nobody remove an open file
            return True
        import fcntl

        if self._number is None:
            return False
        try:
            fcntl.flock(self._number, (fcntl.LOCK_EX if exclusive else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True  # a file system without locks: nobody can be told apart
        return True

    def alone(self) -> bool:
        """Hold the lock alone, if nobody else holds it."""
        return self._take(True)

    def share(self) -> bool:
        """Hold it beside others; waits for one that makes the index again. True also where there is no lock."""
        if self._number is None:
            return True
        until_s = time.monotonic() + WAIT_S
        while not self._take(False):
            if time.monotonic() > until_s:
                return False
            time.sleep(_PAUSE_S)
        return True

    def release(self) -> None:
        if self._number is not None:
            os.close(self._number)
            self._number = None
