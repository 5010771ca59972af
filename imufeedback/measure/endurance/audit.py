"""What was delivered against what was recorded, and what was told live against what a replay tells.

Sums instead of lists: a day of packets does not fit into memory twice.
"""

from __future__ import annotations

import dataclasses
import hashlib
import zlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback.pipeline import Pipeline
from imufeedback.record.replay import read_items
from imufeedback.records import Event, Item, RawPacket


@dataclass
class Flow:
    """Packets of all sensors that went past, in their order."""

    packets: dict[str, int] = field(default_factory=dict)
    """How many, by sensor."""
    sums: dict[str, int] = field(default_factory=dict)
    """Running CRC-32 over times and payloads, by sensor: another order gives another sum."""
    payload_bytes: int = 0
    items: int = 0

    def add(self, item: Item) -> None:
        self.items += 1
        if not isinstance(item, RawPacket):
            return
        sensor = item.sensor
        self.packets[sensor] = self.packets.get(sensor, 0) + 1
        head = zlib.crc32(item.host_ns.to_bytes(8, "little", signed=True), self.sums.get(sensor, 0))
        self.sums[sensor] = zlib.crc32(item.payload, head)
        self.payload_bytes += len(item.payload)

    def missing_in(self, other: Flow) -> int:
        """Packets of this flow that the other lacks or has too many of; where only the order or the content differs,
        one for each such sensor."""
        apart = 0
        for sensor in self.packets.keys() | other.packets.keys():
            count = abs(self.packets.get(sensor, 0) - other.packets.get(sensor, 0))
            apart += count or (self.sums.get(sensor) != other.sums.get(sensor))
        return apart


class Digest:
    """A fingerprint of events: of every field and every byte of every array."""

    def __init__(self) -> None:
        self._hash = hashlib.blake2b(digest_size=16)
        self.count = 0

    def add(self, events: Iterable[Event]) -> None:
        for event in events:
            self.count += 1
            self._take(event)

    def _take(self, value: Any) -> None:
        if isinstance(value, np.ndarray):
            self._hash.update(f"{value.dtype.str}{value.shape}".encode())
            self._hash.update(np.ascontiguousarray(value).tobytes())
        elif dataclasses.is_dataclass(value):
            self._hash.update(type(value).__name__.encode())
            for one in dataclasses.fields(value):
                self._take(getattr(value, one.name))
        elif isinstance(value, dict):
            for key in sorted(value, key=str):
                self._hash.update(str(key).encode())
                self._take(value[key])
        elif isinstance(value, tuple | list):
            self._hash.update(f"[{len(value)}]".encode())
            for one in value:
                self._take(one)
        else:
            self._hash.update(f"{value!r};".encode())

    @property
    def text(self) -> str:
        return f"{self.count}-{self._hash.hexdigest()}"


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A recording, read from its beginning to its end."""

    flow: Flow
    complete: bool
    """It was closed in order and has all items it says it has."""
    events: str
    """Fingerprint of the events of its first stretch."""


def read_back(path: Path, stretch_s: float) -> ReadBack:
    """Read all items; judge those of the first `stretch_s` once more. Raises BadFile, NoRecording."""
    recording = read_items(path)
    flow, digest, pipeline = Flow(), Digest(), Pipeline()
    for item in recording:
        flow.add(item)
        if item.host_ns <= stretch_s * 1e9:
            digest.add(pipeline.feed(item))
    return ReadBack(flow, recording.complete, digest.text)
