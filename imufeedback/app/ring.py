"""Fixed-size memory of the newest samples, so that drawing costs the same after two hours as after two minutes."""

from __future__ import annotations

import numpy as np

from imufeedback.records import Floats

GAP_S = 0.1
"""A longer step than this between two samples is a gap, and is drawn as one."""


class Ring:
    """The newest `capacity` rows of `columns` values with their times. Not thread-safe: the owner holds the lock."""

    def __init__(self, capacity: int, columns: int) -> None:
        self._t = np.full(capacity, np.nan)
        self._rows = np.full((capacity, columns), np.nan)
        self._written = 0

    @property
    def newest_s(self) -> float | None:
        """Time of the newest row, or None while empty."""
        return float(self._t[(self._written - 1) % len(self._t)]) if self._written else None

    def clear(self) -> None:
        self._written = 0

    def append(self, t_s: Floats, rows: Floats) -> None:
        """Add rows ``(N, columns)`` at times ``(N,)``, rising. Time going back begins a new memory.

        A step longer than `GAP_S` gets a row of NaN inside it, so that no line is drawn across; what is not finite
        becomes NaN.
        """
        if not len(t_s):
            return
        newest = self.newest_s
        if newest is not None and t_s[0] <= newest:
            self.clear()
            newest = None
        t_s, rows = _with_gaps(t_s, np.where(np.isfinite(rows), rows, np.nan), newest)
        t_s, rows = t_s[-len(self._t) :], rows[-len(self._t) :]
        where = (self._written + np.arange(len(t_s))) % len(self._t)
        self._t[where] = t_s
        self._rows[where] = rows
        self._written += len(t_s)

    def since(self, from_s: float) -> tuple[Floats, Floats]:
        """Copies of the times ``(N,)`` and rows ``(N, columns)`` not older than `from_s`, oldest first."""
        end, parts = self._written % len(self._t), []
        for old in (slice(end, None) if self._written >= len(self._t) else slice(0), slice(end)):
            t_s = self._t[old]
            first = int(np.searchsorted(t_s, from_s))
            parts.append((t_s[first:], self._rows[old][first:]))
        older, newer = parts
        return np.concatenate((older[0], newer[0])), np.concatenate((older[1], newer[1]))


def _with_gaps(t_s: Floats, rows: Floats, newest_s: float | None) -> tuple[Floats, Floats]:
    before = np.concatenate(([t_s[0] if newest_s is None else newest_s], t_s[:-1]))
    (at,) = np.nonzero(t_s - before > GAP_S)
    if not len(at):
        return t_s, rows
    return np.insert(t_s, at, before[at] + 1e-6), np.insert(rows, at, np.nan, axis=0)


def thinned(t_s: Floats, rows: Floats, step_s: float) -> tuple[Floats, Floats]:
    """At most two rows in every `step_s`, with the least and the greatest value of each column there: a spike of one
    sample is seen. Values of a bin come in the order in which they rise or fall; gaps stay, to the sample.

    Bins are counted in time, not from the oldest row: the picture runs without flicker.
    """
    if not len(t_s):
        return t_s, rows
    # The little extra keeps times on a border, which are off by a rounding error, on one side of it.
    begins = np.diff(np.floor(t_s / step_s + 1e-6), prepend=-np.inf) > 0
    known = np.isfinite(rows)
    if not (known == known[0]).all():
        begins[1:] |= (known[1:] != known[:-1]).any(axis=1)
    (first,) = np.nonzero(begins)
    last = np.r_[first[1:], len(t_s)] - 1
    low, high = np.minimum.reduceat(rows, first), np.maximum.reduceat(rows, first)
    rises = rows[last] >= rows[first]
    values = np.stack([np.where(rises, low, high), np.where(rises, high, low)], axis=1)
    kept = np.stack([np.ones(len(first), dtype=bool), last > first], axis=1)
    return np.stack([t_s[first], t_s[last]], axis=1)[kept], values[kept]
