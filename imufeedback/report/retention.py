"""What is left of it: the test block of one day against that of an earlier one, both without tones.

Works on the documents that `Summary.to_dict` gives, so that old sessions need not be judged again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


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


def last_test(document: Mapping[str, Any]) -> Shares | None:
    """The last test block with reps of a session's summary; None when it has none."""
    blocks = [one for one in document.get("blocks", ()) if one["role"] == "test" and one["reps"]]
    if not blocks:
        return None
    last = blocks[-1]
    return Shares(
        last["reps"],
        last["clean"] / last["reps"],
        {rule: count / last["reps"] for rule, count in last["faults"].items()},
    )


def retention(now: Mapping[str, Any], before: Mapping[str, Any]) -> Retention | None:
    """Test block against test block; None while one of the two sessions has none, or they are of different drills."""
    one, other = last_test(now), last_test(before)
    if one is None or other is None or _drill(now) != _drill(before):
        return None
    return Retention(one, other)


def _drill(document: Mapping[str, Any]) -> str:
    return str([one["drill"] for one in document["blocks"] if one["role"] == "test" and one["reps"]][-1])
