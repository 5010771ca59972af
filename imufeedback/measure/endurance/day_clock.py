"""Time that is told, and a sound device that lives by it."""

from __future__ import annotations

from collections.abc import Generator

from imufeedback.audio import BUFFER_MS, RATE_HZ

DEVICE_PPM = -200.0
"""Of the device's clock against the host's: far worse than a usual one."""


class DayClock:
    """Nanoseconds since the day began; whoever has the turn sets them."""

    def __init__(self) -> None:
        self._now_ns = 0

    def now_ns(self) -> int:
        return self._now_ns

    def set_ns(self, now_ns: int) -> None:
        self._now_ns = now_ns

    def seconds(self) -> float:
        return self._now_ns * 1e-9


class PulledDevice:
    """A sound device that asks for samples when its time has come by the day's clock."""

    backend = "a simulated device"

    def __init__(self, clock: DayClock) -> None:
        self._clock = clock
        self._period_ns = BUFFER_MS * 1e6 * (1.0 + DEVICE_PPM * 1e-6)
        self._frames = RATE_HZ * BUFFER_MS // 1000
        self._source: Generator[memoryview, int, None] | None = None
        self.calls = 0

    def start(self, callback_generator: Generator[memoryview, int, None]) -> None:
        self._source = callback_generator

    def close(self) -> None:
        self._source = None

    def play_until(self, now_ns: int) -> None:
        """All periods that begin up to then."""
        while (at_ns := round(self.calls * self._period_ns)) <= now_ns:
            self._clock.set_ns(at_ns)
            if self._source is not None:
                self._source.send(self._frames)
            self.calls += 1
