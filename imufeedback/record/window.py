"""Any stretch of a recording, however long the recording is: found by bisection, not by reading from the start.

Items stand in a file in the order in which they came, and a message can be recognised anywhere by its checksum. So the
place of an instant is found with some twenty looks, and nothing outside the wanted stretch is read.
"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice, pairwise
from pathlib import Path
from typing import BinaryIO

from mcap.opcode import Opcode

from imufeedback.commands import is_begin
from imufeedback.errors import BadFile, NoRecording
from imufeedback.record import codec, scan
from imufeedback.record.replay import Recording, read_items
from imufeedback.records import Command, Item
from imufeedback.timing.instants import LONE_NS, START_NS, WILD_NS, WITNESSES

EARLIER_NS = 1_000_000_000
"""Items of several threads may stand a little out of order: reading begins so much earlier."""
_TAIL_BYTES = 1 << 18


@dataclass(frozen=True, slots=True)
class Window:
    """A recording of which stretches are read. Times are seconds since its first item."""

    path: Path
    begin: Command | None
    """The set-up of the session; None when it is damaged."""
    first_ns: int
    last_ns: int
    title: str = ""
    started: datetime | None = None
    closed: bool = False
    """Its end was written in order."""
    rewritten: Recording | None = None
    """Set where another tool may have given the items an order of its own: then all is read."""

    @property
    def duration_s(self) -> float:
        return (self.last_ns - self.first_ns) * 1e-9

    def items(self, from_s: float, to_s: float) -> Iterator[Item]:
        """The items of a stretch in their order. Raises BadFile when the disk fails."""
        low, high = self.first_ns + round(from_s * 1e9), self.first_ns + round(to_s * 1e9)
        if self.rewritten is not None:
            yield from (one for one in self.rewritten if low <= one.host_ns <= high)
            return
        try:
            with open(self.path, "rb") as file:
                start = _place(file, low - EARLIER_NS)
                if start is None:
                    return
                for opcode, content in scan.Scanner(file, start):
                    item = _item(content) if opcode == Opcode.MESSAGE else None
                    if item is None or item.host_ns < low:
                        continue
                    if item.host_ns > high + EARLIER_NS:
                        return
                    if item.host_ns <= high:
                        yield item
        except OSError as error:
            raise BadFile(f"cannot be read ({error.strerror})", where=str(self.path), hint="copy it") from None


def open_window(path: str | os.PathLike[str]) -> Window:
    """Look at both ends of a recording. Raises NoRecording and BadFile as `read_items` does."""
    recording = read_items(path)
    head = list(islice(recording, 1 + WITNESSES))
    first = head[0] if head else None
    if first is None:
        raise NoRecording("nothing readable is in it", where=str(path), hint="choose another recording")
    begin = first if is_begin(first) else None
    try:
        with open(path, "rb") as file:
            last_ns = max(one.host_ns for one in recording) if recording.rewritten else _last_ns(file)
            file.seek(max(file.seek(0, os.SEEK_END) - len(scan.MAGIC), 0))
            closed = file.read() == scan.MAGIC
    except OSError as error:
        raise BadFile(f"cannot be read ({error.strerror})", where=str(path), hint="copy it") from None
    first_ns = _first_ns(head)
    rewritten = recording if recording.rewritten else None
    last_ns = max(last_ns, first_ns)
    return Window(Path(path), begin, first_ns, last_ns, recording.title, recording.started, closed, rewritten)


def _first_ns(head: Sequence[Item]) -> int:
    """Time of the first item; of the next ones, where they count from somewhere else (`timing/instants.py`)."""
    first_ns, later = head[0].host_ns, sorted(one.host_ns for one in head[1:])
    if not later:
        return first_ns
    middle = later[len(later) // 2]
    if -WILD_NS <= middle - first_ns <= START_NS:
        return first_ns
    return next(at for at in later if middle - at <= WILD_NS)


def _item(content: bytes) -> Item | None:
    try:
        return codec.decode(content)
    except codec.UnknownItemError:
        return None


def _last_ns(file: BinaryIO) -> int:
    """Latest time that is believed among the last messages; looks back in longer steps where the end is damaged."""
    size = file.seek(0, os.SEEK_END)
    back = _TAIL_BYTES
    while True:
        start = max(size - back, len(scan.MAGIC))
        found = scan.Scanner(file).message_from(start)
        if found is not None:
            return _latest(file, found[0])
        if start == len(scan.MAGIC):
            return 0
        back *= 4


def _latest(file: BinaryIO, start: int) -> int:
    times: list[int] = []
    for opcode, content in scan.Scanner(file, start):
        item = _item(content) if opcode == Opcode.MESSAGE else None
        if item is not None:
            times.append(item.host_ns)
    return _believed(times)


def _believed(times: list[int]) -> int:
    """The latest of some times that another one is near: one alone may be wild. 0 without any."""
    times.sort()
    near = [at for before, at in pairwise(times) if at - before <= LONE_NS]
    return near[-1] if near else max(times, default=0)


def _place(file: BinaryIO, host_ns: int) -> int | None:
    """Offset of a message not later than the first one of that time, and near it; None when there is no message."""
    low, high = len(scan.MAGIC), file.seek(0, os.SEEK_END)
    first = scan.Scanner(file).message_from(low)
    if first is None:
        return None
    best = first[0]
    while high - low > codec.RECORD_MAX // 16:
        middle = (low + high) // 2
        found = scan.Scanner(file).message_from(middle)
        item = None if found is None else _item(found[1])
        if found is None or found[0] >= high or (item is not None and item.host_ns >= host_ns):
            high = middle
        else:
            best = low = max(found[0], middle)
    return best
