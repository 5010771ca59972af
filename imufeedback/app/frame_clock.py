"""How long frames take, and how often they should come."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np

FRAME_MS = 33
"""Wanted time from frame to frame: about 30 a second."""
SLOWEST_FRAME_MS = 250
"""Even a slow computer shows four frames a second."""


@dataclass(frozen=True, slots=True)
class FrameStats:
    """Cost of the newest frames."""

    count: int
    median_ms: float
    p99_ms: float


class FrameClock:
    """Keeps the cost of the newest frames (reading, updating and painting) and suggests the pace from it."""

    def __init__(self, keep: int = 300) -> None:
        self._cost_s: deque[float] = deque(maxlen=keep)
        self.frames = 0

    def add(self, cost_s: float) -> None:
        """Note what one frame cost."""
        self._cost_s.append(cost_s)
        self.frames += 1

    def stats(self) -> FrameStats:
        """Median and 99th percentile in milliseconds; zero before the first frame."""
        if not self._cost_s:
            return FrameStats(0, 0.0, 0.0)
        median, p99 = np.percentile(np.array(self._cost_s) * 1e3, (50, 99))
        return FrameStats(self.frames, float(median), float(p99))

    def interval_ms(self) -> int:
        """Time to the next frame: drawing may use about half of the Qt thread, so slow frames come less often."""
        newest = sorted(list(self._cost_s)[-15:])
        if not newest:
            return FRAME_MS
        return int(min(max(2e3 * newest[(len(newest) - 1) // 2], FRAME_MS), SLOWEST_FRAME_MS))
