"""Records of an MCAP file one after the other, also of a torn or damaged one.

Reads forward in bounded memory. The records' own parsers are the library's; the framing is done here, because the
library's reader gives up at the first record that does not fit, and everything behind it would be lost.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from io import BytesIO
from typing import BinaryIO

from mcap.data_stream import ReadDataStream
from mcap.exceptions import McapError
from mcap.opcode import Opcode
from mcap.records import Header, Metadata, Statistics

from imufeedback.record.codec import RECORD_MAX, unseal

MAGIC = b"\x89MCAP0\r\n"
_FRAME = struct.Struct("<BQ")
_KNOWN = frozenset(int(one) for one in Opcode)
_PRIVATE = 0x80
"""Opcodes from here on are free for private use by the MCAP specification: to be passed over."""

_MESSAGE_START = re.compile(rb"\x05(?=[\s\S]{3}\x00{5})")
"""Opcode Message and a length below 2^24: where a message may begin. It looks ahead, as two such places
may overlap."""

_SEARCH_BYTES = 1 << 16
FALSE_STARTS_MAX = 1000
"""So many places that look like a message and are none: a hostile file, not a damaged one."""

Frame = tuple[int, bytes]
"""Opcode and content."""


class Scanner:
    """Iterates over the whole records of an open file, starting behind the magic or at `start`.

    The attributes tell, after iterating, how the file is.
    """

    def __init__(self, file: BinaryIO, start: int = len(MAGIC)) -> None:
        self._file = file
        self._start = start
        self._false_starts = 0
        self.complete = False
        """The end was reached in order: a footer, the magic, and nothing else."""
        self.torn_at: int | None = None
        """Where an unfinished file ends within a record."""
        self.damaged_at: list[int] = []
        """Offsets of damaged stretches."""

    def __iter__(self) -> Iterator[Frame]:
        offset = self._start
        while True:
            frame = self._read(offset)
            if frame is None:
                if self._at_end(offset):
                    return
                found = self._search(offset + 1)
                if found is None:
                    self._name_tail(offset)
                    return
                self.damaged_at.append(offset)
                offset = found
                continue
            yield frame
            offset += _FRAME.size + len(frame[1])
            if frame[0] == Opcode.FOOTER and self._ends_at(offset):
                self.complete = True
                return

    def message_from(self, offset: int) -> tuple[int, bytes] | None:
        """Offset and content of the first whole message at or behind `offset`; None when there is none."""
        found = self._search(offset)
        if found is None or (frame := self._read(found)) is None:
            return None
        return found, frame[1]

    def _read(self, offset: int) -> Frame | None:
        """The whole, plausible record there, or None. A message is plausible when its checksum fits."""
        self._file.seek(offset)
        head = self._file.read(_FRAME.size)
        if len(head) < _FRAME.size:
            return None
        opcode, length = _FRAME.unpack(head)
        if length > RECORD_MAX or not (opcode in _KNOWN or opcode >= _PRIVATE):
            return None
        content = self._file.read(length)
        if len(content) < length or (opcode == Opcode.MESSAGE and unseal(content) is None):
            return None
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
        if opcode in _KNOWN and left - _FRAME.size < length <= RECORD_MAX:
            self.torn_at = offset
        else:
            self.damaged_at.append(offset)


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
