"""How a recording on disk is: what is there, what is not, in words. Reads all of it once, one record in memory."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import msgspec

from imufeedback.commands import is_begin, settings_of
from imufeedback.errors import BadFile, UsageError
from imufeedback.record.replay import read_items
from imufeedback.records import Item, LinkNote, LinkState, Notice, PacketRejected, RawPacket
from imufeedback.timing import Instants

SILENCE_S = 2.0
"""A longer silence of a sensor is told."""


@dataclass(slots=True)
class SensorHealth:
    """What came from one sensor."""

    sensor: str
    packets: int = 0
    first_ns: int = 0
    last_ns: int = 0
    seconds: int = 0
    """Seconds of the host's clock in which at least one packet came."""
    longest_gap_ns: int = 0

    def take(self, host_ns: int) -> None:
        if not self.packets:
            self.first_ns = host_ns
        elif host_ns // 10**9 == self.last_ns // 10**9:
            self.seconds -= 1
        self.longest_gap_ns = max(self.longest_gap_ns, host_ns - self.last_ns if self.packets else 0)
        self.packets += 1
        self.seconds += 1
        self.last_ns = host_ns

    def coverage(self, first_ns: int, last_ns: int) -> float:
        """Share of the whole session's seconds in which it sent anything, 0 to 1."""
        return min(self.seconds / max(last_ns // 10**9 - first_ns // 10**9 + 1, 1), 1.0)


@dataclass(slots=True)
class Health:
    """One file, looked at."""

    path: Path
    size_bytes: int
    title: str = ""
    player: str = ""
    started: datetime | None = None
    app_version: str = ""
    items: int = 0
    first_ns: int | None = None
    last_ns: int = 0
    can_be_judged: bool = False
    """The set-up of the sensors is there and makes sense."""
    sensors: dict[str, SensorHealth] = field(default_factory=dict)
    """By id; sensors of the set-up that never sent are there too."""
    notes: list[str] = field(default_factory=list)
    """What is damaged or missing."""
    recovered_from: str = ""
    """Name of the file that this is a recovered copy of; empty for an original."""
    notes_then: list[str] = field(default_factory=list)
    """What was damaged or missing in that file."""
    complete: bool = False
    """Closed in order, and every item is there."""
    wild: int = 0
    """Packets whose time cannot be true."""
    _instants: Instants | None = None

    @property
    def duration_s(self) -> float:
        """From the first to the last item, by the monotonic clock: a calendar clock that was set does not matter."""
        return 0.0 if self.first_ns is None else max(self.last_ns - self.first_ns, 0) * 1e-9

    def take(self, item: Item) -> None:
        self.items += 1
        if self._instants is None:
            self.first_ns = self.last_ns = item.host_ns
            self._instants = Instants(item.host_ns)
            self._take_begin(item)
            self._count(item)
        else:
            self._take_true(self._instants.feed(item))

    def finish(self) -> None:
        """No more items."""
        if self._instants is not None:
            self._take_true(self._instants.finish())

    def _take_true(self, made: Iterable[Item | PacketRejected | Notice]) -> None:
        for one in made:
            if isinstance(one, PacketRejected):
                self.wild += 1
            elif not isinstance(one, Notice):
                self._count(one)

    def _count(self, item: Item) -> None:
        self.last_ns = max(self.last_ns, item.host_ns)
        if isinstance(item, RawPacket):
            self._sensor(item.sensor).take(item.host_ns)
        elif isinstance(item, LinkNote) and item.state is LinkState.STREAMING:
            self._sensor(item.sensor)

    def _sensor(self, name: str) -> SensorHealth:
        return self.sensors.setdefault(name, SensorHealth(name))

    def _take_begin(self, item: Item) -> None:
        if not is_begin(item):
            return
        try:
            settings = settings_of(item)
        except (UsageError, msgspec.ValidationError):
            return
        self.can_be_judged = True
        self.player = settings.player.name
        for one in settings.sensors:
            self._sensor(one.id)

    def words(self) -> list[str]:
        """What a person should know, line by line."""
        out = [self._headline(), self._content()]
        if self.recovered_from:
            out.append(f"recovered copy of {self.recovered_from}: {'; '.join(self.notes_then) or 'which was whole'}")
        out += [self._sensor_words(one) for one in self.sensors.values()]
        out += [f"! {note}" for note in self.notes]
        if self.wild:
            out.append(f"! {self.wild} packet(s) with a time that cannot be true; they are left out")
        if not self.can_be_judged:
            out.append("! the set-up of the sensors is missing: no angles can be made of the packets")
        return out

    def _headline(self) -> str:
        when = "start unknown" if self.started is None else f"{self.started:%Y-%m-%d %H:%M:%S %z}"
        who = f", {self.player}" if self.player else ""
        return f"{self.title or 'without a title'}{who}, {when}"

    def _content(self) -> str:
        state = "whole" if self.complete else "NOT WHOLE"
        return f"{state}: {self.items} items over {clock(self.duration_s)}, {self.size_bytes / 1e6:.1f} MB"

    def _sensor_words(self, one: SensorHealth) -> str:
        if not one.packets or self.first_ns is None:
            return f"! sensor {one.sensor}: nothing came from it"
        share = 100 * one.coverage(self.first_ns, self.last_ns)
        text = f"sensor {one.sensor}: {one.packets} packets, in {share:.0f} % of the time"
        if one.longest_gap_ns > SILENCE_S * 1e9:
            text += f", silent for up to {one.longest_gap_ns * 1e-9:.0f} s"
        before_end_s = (self.last_ns - one.last_ns) * 1e-9
        if before_end_s > SILENCE_S:
            text += f", the last {clock(before_end_s)} before the end"
        return text


def clock(seconds: float) -> str:
    """A duration as hours, minutes and seconds."""
    whole = round(seconds)
    hours, minutes = whole // 3600, whole // 60 % 60
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min {whole % 60:02d} s"


def examine(path: str | os.PathLike[str]) -> Health:
    """Read a recording to its end. Raises NoRecording or BadFile for a file that cannot be read at all."""
    recording = read_items(path)
    try:
        size = recording.path.stat().st_size
    except OSError as error:
        raise BadFile(f"cannot be read ({error.strerror})", where=str(path), hint="copy it to another disk") from None
    out = Health(recording.path, size, recording.title, "", recording.started, recording.app_version)
    for item in recording:
        out.take(item)
    out.finish()
    out.notes = list(recording.notes)
    out.complete = recording.complete
    out.recovered_from = recording.details.get("recovered_from", "")
    out.notes_then = recording.details.get("recovery_notes", "").splitlines()
    return out
