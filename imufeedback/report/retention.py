"""What is left of it: the test block of one day against that of an earlier one, both without tones.

Works on documents, so that old sessions need not be judged again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from imufeedback.document import BlockTally, Document
from imufeedback.records import Role


@dataclass(frozen=True, slots=True)
class Shares:
    """Of one test block."""

    reps: int
    clean: float
    """Part of the reps without a fault."""
    faults: Mapping[str, float]
    """Part of the reps with a fault, by rule."""


@dataclass(frozen=True, slots=True)
class Retention:
    """Today against the last time; shares, so that blocks of different lengths can be compared."""

    now: Shares
    before: Shares

    @property
    def clean_change(self) -> float:
        """Above 0: more clean reps than last time."""
        return self.now.clean - self.before.clean

    def rules(self) -> dict[str, float]:
        """Change of the share of reps with a fault, by rule; below 0 is better."""
        names = [*self.before.faults, *(one for one in self.now.faults if one not in self.before.faults)]
        return {name: self.now.faults.get(name, 0.0) - self.before.faults.get(name, 0.0) for name in names}


def last_test(document: Document) -> BlockTally | None:
    """The last test block with reps of a session; None when it has none."""
    blocks = [block for block in document.blocks or () if block.role is Role.TEST and block.reps]
    return blocks[-1] if blocks else None


def retention(now: Document, before: Document) -> Retention | None:
    """Test block against test block; None while one of the two sessions has none, or they are of different drills."""
    today, then = last_test(now), last_test(before)
    if today is None or then is None or today.drill != then.drill:
        return None
    return Retention(_shares(today), _shares(then))


def _shares(block: BlockTally) -> Shares:
    reps = block.reps or 1
    return Shares(reps, (block.clean or 0) / reps, {rule: count / reps for rule, count in (block.faults or {}).items()})
