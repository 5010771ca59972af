"""The records of a file with its messages in the order of their numbers, each once.

A journal is written in that order, and is read as it stands. Where a number is passed over, it may be lost, or another
tool has put the messages in an order of its own (of their times, of their channels): then all that follows is looked
at first, and read in order afterwards, one record in memory at a time.
"""

from __future__ import annotations

from array import array
from collections.abc import Iterator

import numpy as np
from mcap.opcode import Opcode

from imufeedback.record import codec, scan

Frames = tuple[int, list[bytes]]
"""Opcode and contents: of messages whose numbers follow each other, else of one record."""


class InOrder:
    """Iterates over what a scanner finds. The counts are true after iterating."""

    def __init__(self, scanner: scan.Scanner) -> None:
        self._scanner = scanner
        self.repeated = 0
        """Messages that stand there more than once."""
        self.moved = 0
        """Messages that stand behind a later one."""

    def __iter__(self) -> Iterator[Frames]:
        due = 0
        frames = iter(self._scanner)
        for opcode, content in frames:
            if opcode != Opcode.MESSAGE:
                yield opcode, [content]
                continue
            number = codec.number(content)
            if number > due:
                yield from self._rest(number, frames)
                return
            if number < due:
                self.repeated += 1
                continue
            messages = [content, *self._scanner.numbered(due + 1)]
            due += len(messages)
            yield opcode, messages

    def _rest(self, number: int, frames: Iterator[scan.Frame]) -> Iterator[Frames]:
        """What stands from the present message on."""
        numbers, places, inside = array("Q", [number]), array("Q"), array("q")
        self._note_place(places, inside)
        for opcode, content in frames:
            if opcode == Opcode.MESSAGE:
                numbers.append(codec.number(content))
                self._note_place(places, inside)
            else:
                yield opcode, [content]
        found = np.array(numbers, dtype=np.uint64)
        _, first = np.unique(found, return_index=True)  # by number, and of equal ones the first
        self.repeated += len(found) - len(first)
        kept = found[np.sort(first)]
        self.moved = int(np.count_nonzero(kept < np.maximum.accumulate(kept)))
        for k in first.tolist():
            yield Opcode.MESSAGE, [self._scanner.message((places[k], inside[k]))]

    def _note_place(self, places: array[int], inside: array[int]) -> None:
        place, k = self._scanner.at
        places.append(place)
        inside.append(k)
