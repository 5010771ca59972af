"""The journal: every input item to disk as it comes, so that a killed process loses next to nothing.

`write` only puts the item on a queue. A writer thread encodes what has come, twenty times a second, and hands it to the
operating system in one call, without any buffer between; a second thread asks the system every second to put it on the
disk, so that a slow disk holds up nothing but itself. What goes wrong is told through `error` and a callback, never by
an exception in the thread that measures.
"""

from __future__ import annotations

import os
import shutil
import threading
import time
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from queue import SimpleQueue
from types import TracebackType
from typing import IO, Self, cast

from mcap.writer import LIBRARY_IDENTIFIER, Writer

from imufeedback import __version__
from imufeedback.errors import CannotWrite, UsageError
from imufeedback.record import codec
from imufeedback.record.disk import DiskWait
from imufeedback.record.files import create_new, sync_folder
from imufeedback.records import Item

WRITE_EVERY_S = 0.050
"""A killed process may lose this much. Chosen: waking up costs far more than writing, and one who is woken for every
packet takes the engine's turns."""
TOGETHER_BYTES = 1 << 20
"""At most so much is held for one call, where there is no hurry."""

SYNC_EVERY_S = 1.0
"""A power loss may take this much more than a killed process."""

RESERVE_BYTES = 32 << 20
"""Recording stops in good order while this much is still free: the system itself needs room too."""

CLOSE_WAIT_S = 10.0
"""Longest wait for a disk when closing."""

IN_TURN, IN_TURN_S = 4096, 0.002
"""Items that may wait where there is no hurry, and how long to wait for the disk then. Chosen: some megabytes."""


_open: set[JournalWriter] = set()
"""Those that are not closed yet."""


def close_all() -> None:
    """At the end of the program: close every recording that is still open, as `JournalWriter.close` does."""
    for journal in tuple(_open):
        journal.close()


@dataclass(frozen=True, slots=True)
class JournalFill:
    """How the journal keeps up."""

    waiting: int
    """Items on the queue now."""
    peak: int
    """Most items that ever waited."""
    written: int
    dropped: int
    """Items that came after an error or after closing."""
    size_bytes: int


@dataclass(frozen=True, slots=True)
class _Halt:
    """Put on the queue: end the file here, because."""

    reason: str | None


class _Together:
    """The part of a binary file that the MCAP writer needs. What is written goes to the system by `send`, at once."""

    def __init__(self, number: int) -> None:
        self.number = number
        self.offset = self.records = 0
        """Bytes in the file, and the whole records that they are."""
        self.disk = DiskWait()
        self._held: list[bytes] = []
        self.held_bytes = 0

    def write(self, data: bytes) -> int:
        """One whole record."""
        if data:
            self._held.append(data)
            self.held_bytes += len(data)
        return len(data)

    def tell(self) -> int:
        return self.offset + self.held_bytes

    def flush(self) -> None:
        """`send` does that."""

    def send(self) -> None:
        """Raises OSError; what the system took of whole records counts."""
        held, left = self._held, memoryview(b"".join(self._held))
        self._held, self.held_bytes = [], 0
        taken = 0
        try:
            with self.disk.asking("write"):
                while taken < len(left):
                    taken += os.write(self.number, left[taken:])
        finally:
            for record in held:
                taken -= len(record)
                if taken < 0:
                    break
                self.offset += len(record)
                self.records += 1

    def cut_back(self) -> None:
        """Take away what an unfinished write left behind the last whole record."""
        self._held, self.held_bytes = [], 0
        os.ftruncate(self.number, self.offset)
        os.lseek(self.number, self.offset, os.SEEK_SET)


class JournalWriter:
    """Writes one recording. Use as a context manager, or call `close`."""

    def __init__(
        self,
        path: str | os.PathLike[str],
        *,
        title: str = "",
        started: datetime | None = None,
        details: Mapping[str, str] | None = None,
        on_error: Callable[[str], None] | None = None,
        reserve_bytes: int = RESERVE_BYTES,
        sync_every_s: float = SYNC_EVERY_S,
    ) -> None:
        """Create the file and start the threads.

        Args:
            path: where; when that is taken a counter is added (see `path`). Nothing is ever overwritten.
            title: the session's name as the person wrote it.
            started: an aware time; now when missing.
            details: more text for the metadata.
            on_error: called once, from a thread of the journal, with one line.
            reserve_bytes: free space at which the recording is ended in good order.
            sync_every_s: time between two syncs.

        Raises CannotWrite when the file cannot be created, UsageError for a time without a zone.
        """
        started = datetime.now().astimezone() if started is None else started
        if started.tzinfo is None:
            raise UsageError("the start of a recording needs a time zone", where="journal")
        self._reserve_bytes = reserve_bytes
        number, self.path = create_new(Path(path))
        self._file = _Together(number)
        self._begun = False
        _open.add(self)
        self._refuse_full_disk()
        sync_folder(self.path.parent)
        self.error: str | None = None
        """What went wrong first, in one line; None while all is well. `recording` tells whether it goes on."""
        self._on_error = on_error
        self._sync_every_s = sync_every_s
        self._queue: SimpleQueue[Item | _Halt] = SimpleQueue()
        self._peak = self._numbered = self._written = self._dropped = 0
        self._ended = False
        self._hurry, self._stop_sync = threading.Event(), threading.Event()
        self._opening = _metadata(title, started, details or {})
        self._writer = threading.Thread(target=self._write_all, name="journal-writer", daemon=True)
        self._syncer = threading.Thread(target=self._sync_all, name="journal-sync", daemon=True)
        self._syncer.start()
        self._begun = True
        self._writer.start()

    # ── any thread ────────────────────────────────────────────────────────────────────────────────────────────────

    def write(self, item: Item) -> None:
        """Put one item into the recording; returns at once and never raises."""
        if self._ended:
            self._dropped += 1
            return
        self._queue.put(item)
        waiting = self._queue.qsize()
        if waiting > self._peak:
            self._peak = waiting

    def write_in_turn(self, item: Item) -> None:
        """The same for what is not measured just now: waits while the disk is behind, so that memory stays bounded."""
        self.write(item)
        while self._queue.qsize() > IN_TURN and not self._ended:
            time.sleep(IN_TURN_S)

    @property
    def recording(self) -> bool:
        """True while items really reach the file."""
        return not self._ended

    @property
    def waits_s(self) -> float:
        """How long the disk has not answered; 0 when it has nothing to answer. Any thread."""
        return self._file.disk.waits_s

    @property
    def fill(self) -> JournalFill:
        return JournalFill(self._queue.qsize(), self._peak, self._written, self._dropped, self._file.offset)

    def close(self) -> None:
        """Write what waits, end the file properly, and wait until it is on the disk (bounded). May be called again."""
        if not self._begun:  # a signal came while it was being made: nothing is in it
            self._take_away()
            return
        self._halt(None)
        self._writer.join(CLOSE_WAIT_S)
        if self._writer.is_alive():
            self._fail(f"the disk did not take the recording within {CLOSE_WAIT_S:.0f} s")
        self._stop_sync.set()
        self._syncer.join(CLOSE_WAIT_S)
        if self._syncer.is_alive():
            self._fail(f"the disk did not confirm the recording within {CLOSE_WAIT_S:.0f} s")
        _open.discard(self)

    def _halt(self, reason: str | None) -> None:
        self._queue.put(_Halt(reason))
        self._hurry.set()

    def _take_away(self) -> None:
        """Remove a file that nothing was written to."""
        _open.discard(self)
        with suppress(OSError):
            os.unlink(self.path)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        self.close()

    # ── the writer's thread ───────────────────────────────────────────────────────────────────────────────────────

    def _write_all(self) -> None:
        writer = Writer(cast("IO[bytes]", self._file), use_chunking=False)
        reason: str | None = None
        try:
            _begin(writer, self._opening)
            self._file.send()
            reason = self._write_until_halt(writer)
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: it becomes `error`
            reason = _words(error)
        self._ended = True
        if reason is not None:
            self._fail(f"recording ended: {reason} – what was written until then can be read")
        self._finish(writer)
        self._drain()

    def _write_until_halt(self, writer: Writer) -> str | None:
        while True:
            if self._queue.empty():
                self._hurry.wait(WRITE_EVERY_S)
            halt = self._take(writer)
            begun = self._file.records
            try:
                self._file.send()
            finally:
                self._written += self._file.records - begun
            if halt is not None:
                return halt.reason

    def _take(self, writer: Writer) -> _Halt | None:
        """What waits, encoded; the end, if it has come."""
        while not self._queue.empty() and self._file.held_bytes < TOGETHER_BYTES:
            item = self._queue.get()
            if isinstance(item, _Halt):
                return item
            try:
                channel, body = codec.encode(item)
            except Exception as error:  # noqa: BLE001 - whatever one item is, the recording goes on
                self._dropped += 1
                self._fail(f"one {type(item).__name__} is missing in the recording: {_words(error)}")
                continue
            log_ns, number = max(item.host_ns, 0), self._numbered
            writer.add_message(channel, log_ns, codec.seal(channel, number, log_ns, body), log_ns, number)
            self._numbered += 1
        return None

    def _finish(self, writer: Writer) -> None:
        """End the file as well as the disk allows; it can be read without its end too."""
        try:
            self._file.cut_back()
            cast("Callable[[], None]", writer.finish)()
            self._file.send()
            os.fsync(self._file.number)
        except Exception as error:  # noqa: BLE001 - as above
            self._fail(f"the end of the recording is missing ({_words(error)})")
        finally:
            self._stop_sync.set()

    def _drain(self) -> None:
        """After the end: count what still comes until `close`, so that memory stays bounded."""
        while not self._queue.empty():
            self._dropped += not isinstance(self._queue.get(), _Halt)

    # ── the sync thread ───────────────────────────────────────────────────────────────────────────────────────────

    def _sync_all(self) -> None:
        while not self._stop_sync.wait(self._sync_every_s):
            try:
                with self._file.disk.asking("sync"):
                    os.fsync(self._file.number)
                    self._check_place()
            except OSError as error:
                self._halt(_words(error))
                break
        self._writer.join()
        os.close(self._file.number)

    def _check_place(self) -> None:
        if os.fstat(self._file.number).st_nlink == 0:
            raise OSError("the file was removed while recording")
        if (free := self._free_bytes()) < self._reserve_bytes:
            raise OSError(f"the disk is almost full, {free >> 20} MiB are left")

    def _free_bytes(self) -> int:
        """Free space where the open file lies: its folder may have been renamed meanwhile, and recording goes on."""
        if hasattr(os, "fstatvfs"):
            there = os.fstatvfs(self._file.number)
            return there.f_bavail * there.f_frsize
        return shutil.disk_usage(self.path.parent).free

    def _refuse_full_disk(self) -> None:
        if (free := self._free_bytes()) < self._reserve_bytes:
            os.close(self._file.number)
            self._take_away()
            where = str(self.path.parent)
            raise CannotWrite(f"the disk is almost full, {free >> 20} MiB are left", where=where, hint="make room")

    def _fail(self, reason: str) -> None:
        """Keep the first reason, and tell it once."""
        if self.error is not None:
            return
        self.error = f"{self.path}: {reason}"
        if self._on_error is not None:
            self._on_error(self.error)


def _words(error: Exception) -> str:
    return (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__


def _metadata(title: str, started: datetime, details: Mapping[str, str]) -> dict[str, str]:
    offset = started.utcoffset()
    assert offset is not None  # checked by the caller
    pairs = {
        **details,
        "format_version": str(codec.FORMAT_VERSION),
        "app_version": __version__,
        "start_utc": started.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
        "zone_offset_s": str(round(offset.total_seconds())),
        "title": title,
    }
    return {**pairs, "crc32": codec.metadata_crc(pairs)}


def _begin(writer: Writer, metadata: dict[str, str]) -> None:
    writer.start(codec.PROFILE, f"imufeedback {__version__}; {LIBRARY_IDENTIFIER}")
    writer.add_metadata(codec.METADATA_NAME, metadata)
    for kind in codec.KINDS:
        text = f"{kind.schema}{codec.SCHEMA_NOTE}".encode()
        schema = writer.register_schema(kind.item.__name__, codec.ENCODING, text)
        if writer.register_channel(kind.topic, codec.ENCODING, schema) != kind.channel:
            raise AssertionError("channel ids are not what the format says")
