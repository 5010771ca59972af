"""When each step of a long block became known: what is said about it is said then."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence

import numpy as np

from imufeedback.records import Floats

HALF_TINY_S = 1e-7


class Releases:
    """The steps of one block in the groups in which they became known.

    `t_s` (N,) of the steps, `ends` of the groups, rising; the last is N.
    """

    def __init__(self, t_s: Floats, ends: Sequence[int]) -> None:
        self._last_s = [t_s.item(end - 1) for end in ends]

    def of(self, t_s: float) -> int:
        """The release by which a step was known."""
        return min(bisect_left(self._last_s, t_s - HALF_TINY_S), len(self._last_s) - 1)

    def upto(self, release: int, t_s: Floats) -> int:
        """How many of the (rising) times of steps were known with this release; it counts itself, also years after a
        session's start, where so little time is nothing."""
        if release == len(self._last_s) - 1:
            return len(t_s)
        return int(np.searchsorted(t_s, self._last_s[release] + HALF_TINY_S, side="right"))
