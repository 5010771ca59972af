"""A recording as a source: what was put into a session once is put into another, by the same door."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterable

from imufeedback.commands import is_begin, settings_of
from imufeedback.errors import NoRecording
from imufeedback.records import Item

SHORT_S = 0.05
"""So long it is not looked whether the practice is stopped: sleeping costs less than waiting for that."""


class Playback:
    """A source of a practice: the items of a recording, at the distances that they came in.

    Its clock tells the recording's own time, so the items keep theirs. `items` may be a `Recording` or whatever has a
    ``begin`` command first. Up to `hurry_ns` of that time they are put as fast as they can be read; then nothing is put
    until `go` is set, and from there on they come at the pace of life.
    """

    def __init__(self, items: Iterable[Item], *, hurry_ns: float = 0.0, go: threading.Event | None = None) -> None:
        """Raises NoRecording without a beginning, UsageError for one that makes no sense."""
        self._items = iter(items)
        begin = next(self._items, None)
        if begin is None or not is_begin(begin):
            raise NoRecording(
                "its beginning is damaged: what the sensors were is not known",
                where="recording",
                hint="only a recording that keeps its first item can be played back",
            )
        self.settings = settings_of(begin)
        self.clock = _PlaybackClock(begin.host_ns)
        self._hurry_ns = hurry_ns
        self._go = go
        self._over = threading.Event()
        self.hurried = threading.Event()
        """All that is put in haste has been put."""

    def play(self, put: Callable[[Item], None]) -> None:
        for item in self._items:
            if item.host_ns >= self._hurry_ns:
                self._wait_for(item.host_ns)
            if self._over.is_set():
                return
            put(item)

    def _wait_for(self, host_ns: int) -> None:
        """Until it is time for it, or the practice is stopped."""
        if not self.clock.runs:
            self.hurried.set()
            if self._go is not None:
                self._go.wait()
            self.clock.run_from(max(self.clock.now_ns(), min(host_ns, round(self._hurry_ns))))
        wait_s = (host_ns - self.clock.now_ns()) * 1e-9
        if wait_s > SHORT_S:
            self._over.wait(wait_s)
        else:
            time.sleep(max(0.0, wait_s))

    def stop(self) -> None:
        self._over.set()
        if self._go is not None:
            self._go.set()


class _PlaybackClock:
    """Stands until it runs: nothing comes too late while items are put in haste."""

    def __init__(self, start_ns: int) -> None:
        self._at_ns = start_ns
        self._since_ns: int | None = None

    @property
    def runs(self) -> bool:
        return self._since_ns is not None

    def now_ns(self) -> int:
        return self._at_ns + (0 if self._since_ns is None else time.monotonic_ns() - self._since_ns)

    def run_from(self, now_ns: int) -> None:
        self._at_ns, self._since_ns = now_ns, time.monotonic_ns()
