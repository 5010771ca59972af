"""A session under the eyes of a stopwatch: how long its items would wait if time did not wait for them."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from threading import Semaphore

from imufeedback.audio import CuePlayer
from imufeedback.live.session import Session, Sink
from imufeedback.live.sound import SoundSink
from imufeedback.measure.endurance.audit import Digest
from imufeedback.measure.endurance.day_clock import DayClock, PulledDevice
from imufeedback.record.journal import JournalWriter
from imufeedback.records import Cue, Event, Fault, Item, RawPacket
from imufeedback.settings import Settings

TEND_CALLS = 25
"""Periods of the device between two looks of the player's watcher."""


@dataclass
class Spent:
    """What one span of the day cost; times of the engine's thread alone."""

    busy_s: float = 0.0
    waits_ms: list[float] = field(default_factory=list)
    """From the arrival of every packet to the end of its work: its events are out."""
    sounds_ms: list[float] = field(default_factory=list)
    """From the arrival of the deciding item to the first sample of the sound."""
    behind: int = 0
    """Most items that waited at once, had they come at the pace of life."""


class PacedSession(Session):
    """Sets the clock for every item, and keeps account of the engine's time.

    The engine is taken to work on one item after the other as they arrive, each as long as it really took (processor
    time), so a slow item makes the next ones wait as it would in life.
    """

    def __init__(
        self,
        settings: Settings,
        *,
        begin_ns: int,
        journal: JournalWriter | None,
        sinks: Sequence[Sink],
        clock: DayClock,
        device: PulledDevice,
        player: CuePlayer,
        sound: SoundSink,
        stretch_s: float,
    ) -> None:
        """The events of the first `stretch_s` are fingerprinted."""
        self._clock, self._device = clock, device
        self._player, self._sound = player, sound
        self._stretch_ns = round(stretch_s * 1e9)
        self._free_ns = 0
        self._ends: deque[int] = deque()
        self._asked: deque[tuple[int, int]] = deque(maxlen=64)
        """(mark of a sound, arrival of the item that decided it)"""
        self._told: list[Event] = []
        self._heard = 0
        """Sounds begun that are accounted for."""
        self.done = Semaphore(0)
        """Released once for every item."""
        self.spent = Spent()
        self.digest = Digest()
        self.events: dict[str, int] = {}
        self.faults: list[str] = []
        super().__init__(settings, begin_ns=begin_ns, journal=journal, sinks=(*sinks, self._hear))
        self.digest.add(self._told)
        self.count()

    def _hear(self, events: list[Event]) -> None:
        """The session's last sink; looked at when the stopwatch stands."""
        self._told += events

    # ── what the engine calls ────────────────────────────────────────────────────────────────────────────────────

    @property
    def may_wait_s(self) -> float:
        """Time is told here: there is nothing to wait for."""
        return 0.0

    def feed_many(self, items: Sequence[Item]) -> None:
        for item in items:
            try:
                self._feed_timed(item)
            finally:
                self.done.release()

    def finish(self) -> None:
        super().finish()
        self.count()

    def _feed_timed(self, item: Item) -> None:
        begin_ns = max(item.host_ns, self._free_ns)
        self._play_until(begin_ns)
        self._clock.set_ns(begin_ns)
        before = time.thread_time_ns()
        super().feed_many([item])
        took_ns = time.thread_time_ns() - before
        self._free_ns = begin_ns + took_ns
        self._account(item, took_ns)
        if item.host_ns <= self._stretch_ns:
            self.digest.add(self._told)
        self.count()

    def _play_until(self, now_ns: int) -> None:
        before = self._device.calls // TEND_CALLS
        self._device.play_until(now_ns)
        if self._device.calls // TEND_CALLS != before:
            self._player.tend()

    def _account(self, item: Item, took_ns: int) -> None:
        spent, ends = self.spent, self._ends
        while ends and ends[0] <= item.host_ns:
            ends.popleft()
        ends.append(self._free_ns)
        wait_ms = (self._free_ns - item.host_ns) * 1e-6
        spent.busy_s += took_ns * 1e-9
        spent.behind = max(spent.behind, len(ends))
        if isinstance(item, RawPacket):
            spent.waits_ms.append(wait_ms)
        for event in self._told:
            if isinstance(event, Cue):
                self._asked.append((round(event.t_s * 1e9), item.host_ns))
        new = self._sound.started[self._heard :]
        self._heard += len(new)
        for started in new:
            arrived = [at_ns for mark, at_ns in self._asked if mark == started.request.tag]
            spent.sounds_ms += [(started.now_ns - at_ns) * 1e-6 for at_ns in arrived[-1:]]

    def count(self) -> None:
        """Take account of what was told, and forget it."""
        for event in self._told:
            name = type(event).__name__
            self.events[name] = self.events.get(name, 0) + 1
            if isinstance(event, Fault):
                self.faults.append(f"{event.where}: {event.what}")
        self._told.clear()
