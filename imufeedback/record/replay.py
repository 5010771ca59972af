"""Recordings read back: the items in their order, also out of a torn or damaged file, with notes on what is missing."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

from mcap.opcode import Opcode

from imufeedback.errors import BadFile, NoRecording
from imufeedback.record import codec, scan
from imufeedback.record.in_order import InOrder
from imufeedback.record.opening import Opening, by_another_tool
from imufeedback.records import Item
from imufeedback.texts import refuse_odd

_LOOK_BYTES = codec.RECORD_MAX + (1 << 16)
"""How much of a file is looked at before saying that it is no recording."""
BACK_NS = 2_000_000_000
"""Items of several threads may stand a little out of the order of their times; more than this is told. Chosen."""


@dataclass(slots=True)
class Recording:
    """A recording on disk. Iterating reads it from the start, a few records in memory at a time, as often as wanted.

    `notes` and `complete` speak of the last iteration that ran to its end.
    """

    path: Path
    details: Mapping[str, str]
    """All metadata as text; empty when it was damaged."""
    notes: list[str] = field(default_factory=list)
    """What is wrong with the file, one line each; empty for a whole one."""
    complete: bool = False
    """The recording was closed in order and every item is there."""
    rewritten: bool = False
    """Another tool has made this file of a recording: in chunks, or in an order of its own."""
    _opening_notes: list[str] = field(default_factory=list)

    @property
    def title(self) -> str:
        """The session's name as the person wrote it."""
        return self.details.get("title", "")

    @property
    def app_version(self) -> str:
        return self.details.get("app_version", "")

    @property
    def started(self) -> datetime | None:
        """Start in the zone in which it was recorded; None when the file does not tell."""
        try:
            utc = datetime.fromisoformat(self.details["start_utc"]).astimezone(UTC)
            return utc.astimezone(timezone(timedelta(seconds=int(self.details["zone_offset_s"]))))
        except (KeyError, ValueError, OverflowError):
            return None

    def __iter__(self) -> Iterator[Item]:
        """The items in order. Raises BadFile when the file cannot be read from the disk any more."""
        self.notes = list(self._opening_notes)
        self.complete = False
        tally = _Tally()
        try:
            with open(self.path, "rb") as file:
                scanner = scan.Scanner(file)
                frames = InOrder(scanner)
                for opcode, contents in frames:
                    if opcode == Opcode.MESSAGE:
                        yield from tally.items(contents)
                    elif opcode == Opcode.STATISTICS:
                        tally.promised = scan.message_count(contents[0])
        except OSError as error:
            raise _unreadable(self.path, error) from None
        self.notes += _notes(scanner, frames, tally)
        self.complete = scanner.complete and not self.notes
        self.notes += self._told(scanner, frames, tally)

    def _told(self, scanner: scan.Scanner, frames: InOrder, tally: _Tally) -> list[str]:
        """What is as it should not be, though nothing is lost by it."""
        out = []
        if scanner.chunks:
            out.append("another tool has packed this recording into chunks; read all the same")
        if frames.moved:
            out.append(f"{frames.moved} item(s) stood out of their order in the file; read in their order")
        if tally.early:
            back_s = tally.back_ns * 1e-9
            out.append(f"the time of {tally.early} item(s) lies before that of earlier ones, by up to {back_s:.1f} s")
        return out


@dataclass(slots=True)
class _Tally:
    """Counts of one reading."""

    next: int = 0
    """Sequence number that is due."""
    missing: int = 0
    unknown: int = 0
    promised: int | None = None
    """Messages by the file's own statistics."""
    latest_ns: int = -(1 << 63)
    early: int = 0
    """Items whose time is well before that of one before them."""
    back_ns: int = 0
    """By how much at most."""

    def items(self, contents: Sequence[bytes]) -> Iterator[Item]:
        """The items of messages that follow each other, without those that are not to be handed on."""
        self.missing += codec.number(contents[0]) - self.next
        self.next = codec.number(contents[-1]) + 1
        latest_ns = self.latest_ns
        for content in contents:
            try:
                item = codec.decode(content)
            except codec.UnknownItemError:
                self.unknown += 1
                continue
            host_ns = item.host_ns
            if host_ns > latest_ns:
                self.latest_ns = latest_ns = host_ns
            elif latest_ns - host_ns > BACK_NS:
                self.early += 1
                self.back_ns = max(self.back_ns, latest_ns - host_ns)
            yield item


def _notes(scanner: scan.Scanner, frames: InOrder, tally: _Tally) -> list[str]:
    notes = []
    missing = tally.missing
    if tally.promised is not None:
        missing += max(tally.promised - tally.next, 0)
    if scanner.damaged_at:
        places = ", ".join(str(one) for one in scanner.damaged_at[:3])
        notes.append(f"damaged at byte {places}{' …' if len(scanner.damaged_at) > 3 else ''}; passed over")
    if scanner.foreign:
        notes.append(f"{scanner.foreign} message(s) do not fit their checksum; passed over")
    if missing:
        notes.append(f"{missing} item(s) are missing")
    if frames.repeated:
        notes.append(f"{frames.repeated} item(s) stand in the file twice; used once")
    if tally.unknown:
        notes.append(f"{tally.unknown} item(s) of a newer version were passed over")
    if scanner.torn_at is not None:
        notes.append(f"the recording breaks off at byte {scanner.torn_at}; all before that is there")
    elif not scanner.complete:
        notes.append("the recording was not closed; all that was written is there")
    return notes


def read_items(path: str | os.PathLike[str]) -> Recording:
    """Open a recording.

    Raises NoRecording, in one line, when there is no file, or it is empty, no recording, or of a newer format; BadFile
    when the disk fails.
    """
    path = Path(path)
    try:
        mode = os.stat(path).st_mode
        if not stat.S_ISDIR(mode):  # of a folder the open tells
            refuse_odd(path, mode, "choose a .mcap recording")
        with open(path, "rb") as file:
            return _open(path, file)
    except FileNotFoundError:
        raise NoRecording("no such file", where=str(path), hint="check the name") from None
    except IsADirectoryError:
        raise NoRecording(
            "this is a folder", where=str(path), hint="name a .mcap file, or use import for CSV"
        ) from None
    except ValueError:
        raise NoRecording("no such file", where=repr(str(path)), hint="check the name") from None
    except OSError as error:
        raise _unreadable(path, error) from None


def _open(path: Path, file: BinaryIO) -> Recording:
    head = file.read(_LOOK_BYTES)
    if not head:
        raise NoRecording("the file is empty", where=str(path), hint="nothing was recorded into it")
    # other tools may put the facts about the session at the end
    opening = Opening.read(scan.Scanner(file if by_another_tool(head) else BytesIO(head)))
    ours = head.startswith(scan.MAGIC) and opening.profile == codec.PROFILE
    rewritten = opening.rewritten
    if opening.unnumbered:
        what = "another tool has written this recording anew and left out the numbers of its items"
        raise NoRecording(what, where=str(path), hint="open the original")
    if not opening.messages and (opening.foreign or not ours):
        raise NoRecording(_no_recording(head, opening.profile), where=str(path), hint="choose a .mcap recording")
    if not ours and not rewritten:
        opening.notes.insert(0, "the head of the file is damaged")
    _refuse_newer(path, opening.details)
    return Recording(path, opening.details, list(opening.notes), rewritten=rewritten, _opening_notes=opening.notes)


def _no_recording(head: bytes, profile: str | None) -> str:
    if not head.startswith(scan.MAGIC):
        return "this is no recording"
    return f"this is an MCAP file of something else (profile {profile!r})" if profile else "nothing readable is in it"


def _refuse_newer(path: Path, details: Mapping[str, str]) -> None:
    version = details.get("format_version", str(codec.FORMAT_VERSION))
    if not version.isdecimal() or int(version) > codec.FORMAT_VERSION:
        what = f"the recording has format {version}; this version reads up to {codec.FORMAT_VERSION}"
        raise NoRecording(what, where=str(path), hint="update imufeedback")


def _unreadable(path: Path, error: OSError) -> BadFile:
    return BadFile(f"cannot be read ({error.strerror or error})", where=str(path), hint="copy it to another disk")
