"""When each step of a long block became known: what is said about it is said then."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from imufeedback.records import Floats
from imufeedback.timing.merge import Released

HALF_TINY_S = 1e-7


class Releases:
    """The steps of one block in the groups in which they became known.

    `t_s` (N,) of the steps, `released` from the merger, `now_s` the session's time at each release.
    """

    def __init__(self, t_s: Floats, released: Sequence[Released], now_s: Sequence[float]) -> None:
        ends = np.array([one.end for one in released])
        self._last_s: Floats = t_s[ends - 1]
        self.now_s = list(now_s)

    def of(self, t_s: float) -> int:
        """The release by which a step was known."""
        return min(int(np.searchsorted(self._last_s, t_s - HALF_TINY_S)), len(self.now_s) - 1)

    def upto(self, release: int, t_s: Floats) -> int:
        """How many of the (rising) times of steps were known with this release; it counts itself, also years after a
        session's start, where so little time is nothing."""
        return int(np.searchsorted(t_s, self._last_s[release] + HALF_TINY_S, side="right"))
