"""Trends that compare like with like: the same drill, direction and pace, told about in the same way.

A baseline or test is compared with those of other days, and with nothing else. Few reps are no point of a trend.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.document import BlockTally, Document, JudgedRep
from imufeedback.records import Role

FEW = 4
"""Fewer reps of one kind on one day are too few to compare. Chosen: the mean of four has half the spread of one."""
FULL_S, SLOW_S = 0.45, 1.0
"""Longest downswing at full pace, and shortest slow one. A downswing at full pace takes 0.27 s (Grober & Cholewicki,
arXiv physics/0611291) and a rehearsal seconds; the borders between are chosen."""


@dataclass(frozen=True, order=True, slots=True)
class Likeness:
    """What reps must have in common to be compared."""

    rank: int
    """Tests first."""
    role: str
    drill: str
    """With the direction of a hip turn."""
    pace: str
    told: str

    @property
    def words(self) -> str:
        return ", ".join(part for part in (self.role, self.drill, self.pace, self.told) if part)


@dataclass(frozen=True, slots=True)
class Point:
    """One day's reps of one kind."""

    reps: int
    mean: float
    spread: float
    """One standard deviation over the reps."""

    @property
    def enough(self) -> bool:
        return self.reps >= FEW


def kinds_of(document: Document, reps: Sequence[JudgedRep]) -> dict[Likeness, list[JudgedRep]]:
    """The reps of a session by kind."""
    out: dict[Likeness, list[JudgedRep]] = {}
    for rep in reps:
        out.setdefault(_kind(rep, _block_of(document, rep)), []).append(rep)
    return out


def point(reps: Sequence[JudgedRep], feature: str) -> Point | None:
    """One point of a trend; None where no rep has the feature."""
    values = [rep.features[feature] for rep in reps if feature in rep.features]
    return Point(len(values), float(np.mean(values)), float(np.std(values))) if values else None


def _block_of(document: Document, rep: JudgedRep) -> BlockTally | None:
    begun = [one for one in document.blocks or () if one.begin_s is not None and one.begin_s <= rep.end_s]
    return begun[-1] if begun else None


def _kind(rep: JudgedRep, block: BlockTally | None) -> Likeness:
    untold = block is not None and block.role in (Role.BASELINE, Role.TEST)
    role = str(block.role) if block is not None and block.role is not None and untold else ""
    told = "" if untold else {True: "with tones", False: "without tones", None: ""}[rep.tones]
    rank = 0 if role == Role.TEST else 1 if untold else 2
    return Likeness(rank, role, rep.kind.replace("-", " "), _pace(rep), told)


def _pace(rep: JudgedRep) -> str:
    lasted = rep.features.get("downswing_s")
    if lasted is None:
        return ""
    return "full pace" if lasted <= FULL_S else "slow" if lasted >= SLOW_S else "brisk"
