"""A counter that begins again elsewhere than its layout says: found by what it does again and again.

Each time such a clock begins again it looks like a restart, or like time that is missing. But the packet numbers go on,
the packet comes when the next one is due, and the count at which it begins again is the same every time. A number that
begins again elsewhere looks like packets that are missing, where the clock shows that none are.
"""

from __future__ import annotations

from dataclasses import dataclass, field

TIMES = 3
"""So often in a row at the same count: a sensor that restarts does not do it at the same instant of its clock."""
SPREAD = 4
"""Counts by which what three rounds show may differ: rounding of ticks. Chosen."""


@dataclass(slots=True)
class Rounds:
    """At which counts a counter was seen to begin again, other than where it should."""

    seen: list[int] = field(default_factory=list)
    told: bool = False

    def take(self, count: int) -> int | None:
        """The modulus that the counter really has, once, when it is sure."""
        self.seen = [*self.seen, count][-TIMES:]
        if self.told or len(self.seen) < TIMES or max(self.seen) - min(self.seen) > SPREAD:
            return None
        self.told = True
        return _roundest(min(self.seen), max(self.seen))

    def as_stated(self) -> None:
        """It began again where it should."""
        self.seen = []


def _roundest(low: int, high: int) -> int:
    """The number from low to high that somebody may have chosen: a power of two, or one with most zeros at its end."""

    def zeros(number: int) -> int:
        return len(str(number)) - len(str(number).rstrip("0"))

    return max(range(low, high + 1), key=lambda one: (one & (one - 1) == 0, zeros(one), -abs(2 * one - low - high)))
