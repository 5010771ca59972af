"""Records of an MCAP file one after the other, also of a torn or damaged one.

Reads forward in bounded memory. The records' own parsers are the library's; the framing is done here, because the
library's reader gives up at the first record that does not fit, and everything behind it would be lost. What another
tool has packed into chunks, or given other channel numbers, comes out as this program would have written it.
"""

from __future__ import annotations

import errno
import re
import struct
from collections import OrderedDict
from collections.abc import Iterator
from io import BytesIO
from typing import BinaryIO

from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Channel, Header, Metadata, Statistics

from imufeedback.record.chunks import CHUNK_MAX, DamagedChunkError, unpacked
from imufeedback.record.codec import KINDS, RECORD_MAX, fits, renumbered

MAGIC = b"\x89MCAP0\r\n"
_FRAME = struct.Struct("<BQ")
_NUMBERED = struct.Struct("<BQHI")
"""A message record's frame, channel and number."""
_KNOWN = frozenset(int(one) for one in Opcode)
_PRIVATE = 0x80
"""Opcodes from here on are free for private use by the MCAP specification: to be passed over."""

_MESSAGE_START = re.compile(rb"\x05(?=[\s\S]{3}\x00{5})")
"""Opcode Message and a length below 2^24: where a message may begin. It looks ahead, as two such places
may overlap."""

_SEARCH_BYTES = 1 << 16
_AHEAD_BYTES = 1 << 17
"""Read at once where messages follow each other; shorter than the longest of them."""
FALSE_STARTS_MAX = 1000
"""So many places that look like a message and are none: a hostile file, not a damaged one."""

Frame = tuple[int, bytes]
"""Opcode and content."""
Place = tuple[int, int]
"""Offset of a record, and its number within the chunk that is there; -1 when it is in none."""
_CHUNKS_KEPT = 2
"""Unpacked ones in memory, for readers that go to and fro."""
_OURS = {kind.topic: kind.channel for kind in KINDS}


class Scanner:
    """Iterates over the whole records of an open file, starting behind the magic or at `start`.

    The attributes tell, after iterating, how the file is.
    """

    def __init__(self, file: BinaryIO, start: int = len(MAGIC)) -> None:
        self._file = file
        self._offset = start
        """Where the next record begins."""
        self._false_starts = 0
        self.complete = False
        """The end was reached in order: a footer, the magic, and nothing else."""
        self.torn_at: int | None = None
        """Where an unfinished file ends within a record."""
        self.damaged_at: list[int] = []
        """Offsets of damaged stretches."""
        self.chunks = 0
        """How many were read."""
        self.foreign = 0
        """Messages in chunks whose checksum is none of ours, or does not fit."""
        self.own = 0
        """Messages in chunks that are ours."""
        self.at: Place = (start, -1)
        """Where the record stands that was just handed out."""
        self._channels: dict[int, int] = {}
        """Numbers of channels, from the file's to ours, where they differ."""
        self._unpacked: OrderedDict[int, list[Frame]] = OrderedDict()

    def __iter__(self) -> Iterator[Frame]:
        while True:
            offset = self._offset
            frame = self._read(offset)
            if frame is None:
                if self._at_end(offset):
                    return
                found = self._search(offset + 1)
                if found is None:
                    self._name_tail(offset)
                    return
                self.damaged_at.append(offset)
                self._offset = found
                continue
            behind = offset + _FRAME.size + len(frame[1])
            if frame[0] == Opcode.CHUNK:
                yield from self._inside(offset, frame[1])
                self._offset = behind
                continue
            self.at, self._offset = (offset, -1), behind
            self.complete = frame[0] == Opcode.FOOTER and self._ends_at(behind)
            yield frame
            if self.complete:
                return

    def numbered(self, due: int) -> list[bytes]:
        """Contents of the messages that stand in the file behind what was handed out last, whole and with the numbers
        from `due` on: some hundred of them at most. They are then not handed out any more."""
        if self.at[1] >= 0:  # it is in a chunk
            return []
        self._file.seek(self._offset)
        ahead = self._file.read(_AHEAD_BYTES)
        out: list[bytes] = []
        at, last = 0, len(ahead) - _NUMBERED.size
        while at <= last:
            opcode, length, _, number = _NUMBERED.unpack_from(ahead, at)
            begin = at + _FRAME.size
            content = ahead[begin : begin + length]
            if opcode != Opcode.MESSAGE or number != due or len(content) < length or not fits(content):
                break
            out.append(content)
            due += 1
            at = begin + length
        self._offset += at
        return out

    def message_from(self, offset: int) -> tuple[int, bytes] | None:
        """Offset and content of the first whole message at or behind `offset`; None when there is none."""
        found = self._search(offset)
        if found is None or (frame := self._read(found)) is None:
            return None
        return found, frame[1]

    def message(self, place: Place) -> bytes:
        """Content of a message that has been handed out before. Raises OSError when it is not there any more."""
        offset, k = place
        if k < 0:
            frame = self._read(offset)
        else:
            if offset not in self._unpacked and (chunk := self._read(offset)) is not None:
                self._unpack(offset, chunk[1])
            frame = self._unpacked[offset][k] if offset in self._unpacked else None
        if frame is None:
            raise OSError(errno.EIO, "it changed while it was read")
        return frame[1]

    def _inside(self, offset: int, content: bytes) -> Iterator[Frame]:
        self.chunks += 1
        try:
            frames, foreign = self._unpack(offset, content)
        except DamagedChunkError:
            self.damaged_at.append(offset)
            return
        self.foreign += foreign
        self.own += sum(opcode == Opcode.MESSAGE for opcode, _ in frames)
        for k, frame in enumerate(frames):
            self.at = (offset, k)
            yield frame

    def _unpack(self, offset: int, content: bytes) -> tuple[list[Frame], int]:
        """The records of a chunk, messages only when their checksum fits, and how many do not."""
        out: list[Frame] = []
        foreign = 0
        for opcode, inner in unpacked(content):
            if opcode == Opcode.CHANNEL:
                self._take_channel(inner)
            if opcode != Opcode.MESSAGE:
                out.append((opcode, inner))
            elif (message := self._ours(inner)) is not None:
                out.append((opcode, message))
            else:
                foreign += 1
        self._unpacked[offset] = out
        if len(self._unpacked) > _CHUNKS_KEPT:
            self._unpacked.popitem(last=False)
        return out, foreign

    def _take_channel(self, content: bytes) -> None:
        found = channel(content)
        if found is not None and _OURS.get(found.topic, found.id) != found.id:
            self._channels[found.id] = _OURS[found.topic]

    def _ours(self, content: bytes) -> bytes | None:
        """A message as it was written; None when its checksum does not fit."""
        if fits(content):
            return content
        if len(content) < 2 or (number := self._channels.get(int.from_bytes(content[:2], "little"))) is None:
            return None
        content = renumbered(content, number)
        return content if fits(content) else None

    def _read(self, offset: int) -> Frame | None:
        """The whole, plausible record there, or None. A message is plausible when its checksum fits."""
        self._file.seek(offset)
        head = self._file.read(_FRAME.size)
        if len(head) < _FRAME.size:
            return None
        opcode, length = _FRAME.unpack(head)
        if length > _longest(opcode) or not (opcode in _KNOWN or opcode >= _PRIVATE):
            return None
        content = self._file.read(length)
        if len(content) < length:
            return None
        if opcode == Opcode.CHANNEL:
            self._take_channel(content)
        elif opcode == Opcode.MESSAGE:
            message = self._ours(content)
            return None if message is None else (opcode, message)
        return opcode, content

    def _at_end(self, offset: int) -> bool:
        self._file.seek(offset)
        return not self._file.read(1)

    def _ends_at(self, offset: int) -> bool:
        """Nothing but the closing magic stands there."""
        self._file.seek(offset)
        return self._file.read(len(MAGIC) + 1) == MAGIC

    def _search(self, offset: int) -> int | None:
        """Offset of the next whole message at or behind `offset`."""
        while True:
            self._file.seek(offset)
            window = self._file.read(_SEARCH_BYTES)
            for match in _MESSAGE_START.finditer(window):
                if self._read(offset + match.start()) is not None:
                    return offset + match.start()
                self._false_starts += 1
                if self._false_starts > FALSE_STARTS_MAX:
                    return None
            if len(window) < _SEARCH_BYTES:
                return None
            offset += len(window) - (_FRAME.size - 1)

    def _name_tail(self, offset: int) -> None:
        """An unfinished record at the end is torn; anything else there is damage."""
        self._file.seek(offset)
        head = self._file.read(_FRAME.size)
        self._file.seek(0, 2)
        left = self._file.tell() - offset
        opcode, length = _FRAME.unpack(head) if len(head) == _FRAME.size else (Opcode.MESSAGE, left)
        if opcode in _KNOWN and left - _FRAME.size < length <= _longest(opcode):
            self.torn_at = offset
        else:
            self.damaged_at.append(offset)


def _longest(opcode: int) -> int:
    return CHUNK_MAX if opcode == Opcode.CHUNK else RECORD_MAX


def channel(content: bytes) -> Channel | None:
    """Channel of a record's content; None when it cannot be read."""
    try:
        out: Channel = Channel.read(_stream(content))
        return out
    except (struct.error, ValueError, McapError):
        return None


def header(content: bytes) -> Header | None:
    """Header of a record's content; None when it cannot be read."""
    try:
        out: Header = Header.read(_stream(content))
        return out
    except (struct.error, ValueError, McapError):
        return None


def metadata(content: bytes) -> Metadata | None:
    """Metadata of a record's content; None when it cannot be read."""
    try:
        out: Metadata = Metadata.read(_stream(content))
        return out
    except (struct.error, ValueError, McapError):
        return None


def message_count(content: bytes) -> int | None:
    """How many messages the statistics record says there are; None when it cannot be read."""
    try:
        count: int = Statistics.read(_stream(content)).message_count
        return count
    except (struct.error, ValueError, McapError):
        return None


def _stream(content: bytes) -> ReadDataStream:
    return ReadDataStream(BytesIO(content))
