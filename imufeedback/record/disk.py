"""How long a disk lets one wait: asked about from outside, because who waits for it cannot tell anything."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

HANGS_S = 3.0
"""The journal asks its disk every second; a healthy one answers within milliseconds, one that has to spin up within a
few seconds. Chosen."""
AGAIN_S = 8.0
"""It is told again after so long, while it lasts: as long as a notice stays on the screen."""


class DiskWait:
    """The requests that a disk has not answered yet, one for each thread that asks."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._since_s: dict[str, float] = {}

    @contextmanager
    def asking(self, who: str) -> Iterator[None]:
        """Around one request of one thread."""
        self._since_s[who] = self._clock()
        try:
            yield
        finally:
            del self._since_s[who]

    @property
    def waits_s(self) -> float:
        """How long the oldest request waits; 0 when none does. Any thread."""
        since_s = list(self._since_s.values())
        return self._clock() - min(since_s) if since_s else 0.0


class HangTeller:
    """Turns the wait for a disk into lines for a person: while it lasts, and when it is over."""

    def __init__(self) -> None:
        self._worst_s = 0.0
        self._next_s = HANGS_S

    def lines(self, waits_s: float) -> list[str]:
        """What is to be said now that the disk lets wait for so long; nothing, as a rule."""
        if waits_s < self._worst_s:
            worst_s, self._worst_s = self._worst_s, 0.0
            told, self._next_s = self._next_s > HANGS_S, HANGS_S
            return [f"recording: the disk answers again, after {worst_s:.0f} s; nothing is missing"] if told else []
        self._worst_s = waits_s
        if waits_s < self._next_s:
            return []
        self._next_s = waits_s + AGAIN_S
        what = f"recording: the disk has not answered for {waits_s:.0f} s; what came since then is lost if the computer"
        return [f"{what} stops now – end what else writes to it, plug it in firmly, or record elsewhere (--out)"]
