"""The host's clock, handed to whoever needs the time. Nothing else in the package asks the system for it."""

from __future__ import annotations

import asyncio
import time
from typing import Protocol


class Clock(Protocol):
    """Monotonic time in nanoseconds, from any start."""

    def now_ns(self) -> int:
        """The time now; never goes back."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Return when so much time has passed by this clock."""
        ...


class MonotonicClock:
    """The system's monotonic clock: unaffected by changes of the time of day."""

    def now_ns(self) -> int:
        return time.monotonic_ns()

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)


class ManualClock:
    """A clock that stands until it is moved. Moving it wakes those whose sleep has ended, in that order."""

    def __init__(self, start_ns: int = 0) -> None:
        self._now_ns = start_ns
        self._sleepers: list[tuple[int, asyncio.Future[None]]] = []

    def now_ns(self) -> int:
        return self._now_ns

    async def sleep(self, seconds: float) -> None:
        if seconds <= 0:
            await asyncio.sleep(0)
            return
        wake: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._sleepers.append((self._now_ns + round(seconds * 1e9), wake))
        await wake

    def set_ns(self, now_ns: int) -> None:
        """Move to this time; an earlier one is ignored, because the time never goes back."""
        self._now_ns = max(self._now_ns, now_ns)
        if not self._sleepers:
            return
        due = sorted((one for one in self._sleepers if one[0] <= self._now_ns), key=lambda one: one[0])
        self._sleepers = [one for one in self._sleepers if one[0] > self._now_ns]
        for _, wake in due:
            if not wake.done():
                wake.set_result(None)

    def advance(self, seconds: float) -> None:
        """Move forward by so much."""
        self.set_ns(self._now_ns + round(seconds * 1e9))
