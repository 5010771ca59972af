"""Screening: how far each hip turns in and out by itself, side against side and day against day. No diagnosis.

A difference of means counts only beyond its minimal detectable change: by what the trials themselves differ, and never
less than what is published. Values of another position are never compared: active
rotation differs between sitting, lying and standing (Simoneau et al. 1998, from memory; Shadmehr 2010), and other
studies find no effect of position (Kouyoumdjian et al. 2012): so the position is kept with the value.
"""

from __future__ import annotations

import itertools
import math
import statistics
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from imufeedback.errors import UsageError

TRIALS = 3
ENDS = ("deg", "sd_deg")
"""Of a value and its error bar. Older recordings have no range, only what was seen of the rotation."""
MDC_DEG = 5.4
"""Minimal detectable change of seated active internal rotation with an inclinometer (Krause et al., KSSTA, n = 25; read
as an abstract). For the staggered stance and these sensors none is published, so that it is the least that counts."""
Z_95 = 1.96
"""A change beyond so many standard errors is no chance at 95 %: MDC95 = 1.96·√2·SEM (Weir, J Strength Cond Res
2005;19:231-40), with the two errors of what is compared in place of √2·SEM."""


@dataclass(frozen=True, slots=True)
class Norm:
    """A published range, to be quoted, not to be judged by."""

    what: str
    value: str
    source: str
    seen: bool
    """The source was read (an abstract or a table); else the value is from memory."""


NORMS = (
    Norm("inward, active, sitting, students", "27.9", "Indian J Physiother Occup Ther (n = 100)", True),
    Norm("outward, active, sitting, students", "34.6", "Indian J Physiother Occup Ther (n = 100)", True),
    Norm("inward, active, prone, students", "35.4", "Indian J Physiother Occup Ther (n = 100)", True),
    Norm("outward, active, prone, students", "42.6", "Indian J Physiother Occup Ther (n = 100)", True),
    Norm("inward, athletes, study means", "29 to 50", "J Athl Train 2018;53:560-7", True),
    Norm("outward, athletes, study means", "23 to 56", "J Athl Train 2018;53:560-7", True),
    Norm("inward, passive, men 20-54", "44 ± 4", "Boone & Azen, JBJS Am 1979;61:756-9", False),
    Norm("outward, passive, men 20-54", "44 ± 5", "Boone & Azen, JBJS Am 1979;61:756-9", False),
)
"""Other positions and other people: none is of the staggered stance."""
NO_DIAGNOSIS = "This compares a player with himself. It does not diagnose; differences between sides are common."
"""Rotation is balanced side to side in only 61 % of healthy adults (Kouyoumdjian et al., OTSR 2012;98:17-23)."""


@dataclass(frozen=True, slots=True)
class HipTrial:
    """One hip turn whose thigh stayed still."""

    side: str
    """``trail`` or ``lead``."""
    direction: str
    """``in`` or ``out``."""
    rotation_deg: float
    sd_deg: float


@dataclass(frozen=True, slots=True)
class Range:
    """One side and direction; degrees."""

    best_deg: float
    mean_deg: float
    spread_deg: float
    """Largest minus smallest of the trials."""
    trials: int
    sd_deg: float
    error_deg: float = 0.0
    """Standard error of the mean: what the trials differ by, over the root of their number."""

    @property
    def complete(self) -> bool:
        return self.trials >= TRIALS


@dataclass(frozen=True, slots=True)
class Screening:
    """One day's."""

    position: str
    ranges: Mapping[tuple[str, str], Range]
    """By side and direction."""

    def side_difference_deg(self, direction: str) -> float | None:
        """Lead minus trail; None while one of them is not complete."""
        pair = self._pair(direction)
        return None if pair is None else pair[0].mean_deg - pair[1].mean_deg

    def detectable_deg(self, direction: str) -> float:
        """Least side difference that counts, by these trials."""
        pair = self._pair(direction)
        return MDC_DEG if pair is None else detectable(*pair)

    def _pair(self, direction: str) -> tuple[Range, Range] | None:
        lead, trail = self.ranges.get(("lead", direction)), self.ranges.get(("trail", direction))
        if lead is None or trail is None or not (lead.complete and trail.complete):
            return None
        return lead, trail


@dataclass(frozen=True, slots=True)
class Change:
    """One side and direction against an earlier day."""

    side: str
    direction: str
    change_deg: float
    detectable_deg: float

    @property
    def beyond_mdc(self) -> bool:
        return abs(self.change_deg) > self.detectable_deg


class HipTurn(Protocol):
    """A rep of a hip-turn drill, live or from a document."""

    @property
    def index(self) -> int: ...
    @property
    def kind(self) -> str: ...
    @property
    def void(self) -> str | None: ...
    @property
    def features(self) -> Mapping[str, float]: ...


def trial_of(rep: HipTurn, side: str) -> HipTrial:
    """From a rep of a hip-turn drill. Raises UsageError for a void one: its rotation was not known."""
    if rep.void:
        raise UsageError(f"rep {rep.index + 1} does not count", where="screening", hint=rep.void)
    direction = rep.kind.rsplit(" ", 1)[-1]
    return HipTrial(
        side,
        direction,
        *(rep.features.get(f"standing_hip_range_{end}", rep.features[f"standing_hip_rotation_{end}"]) for end in ENDS),
    )


def screen(trials: Iterable[HipTrial], position: str) -> Screening:
    """Best, mean and spread of the last three trials of every side and direction; trials that lost their form are
    left out before. Raises UsageError without a position."""
    if not position:
        raise UsageError("a screening without a position", hint="say how the player stood")
    by = sorted(enumerate(trials), key=lambda one: (one[1].side, one[1].direction, one[0]))
    ranges = {}
    for key, group in itertools.groupby(by, key=lambda one: (one[1].side, one[1].direction)):
        ranges[key] = _range([trial for _, trial in group][-TRIALS:])
    return Screening(position, ranges)


def _range(trials: Sequence[HipTrial]) -> Range:
    values = [one.rotation_deg for one in trials]
    return Range(
        max(values),
        sum(values) / len(values),
        max(values) - min(values),
        len(values),
        max(one.sd_deg for one in trials),
        statistics.stdev(values) / math.sqrt(len(values)) if len(values) > 1 else 0.0,
    )


def detectable(one: Range, other: Range) -> float:
    """Least difference between two ranges that counts."""
    return max(MDC_DEG, Z_95 * math.hypot(one.error_deg, other.error_deg))


def compare(now: Screening, before: Screening) -> list[Change]:
    """Changes since an earlier day, where both are complete. Raises UsageError for two positions."""
    if now.position != before.position:
        raise UsageError(
            f"{now.position!r} cannot be compared with {before.position!r}", hint="screen again in the same position"
        )
    out = []
    for key, new in now.ranges.items():
        old = before.ranges.get(key)
        if old is not None and old.complete and new.complete:
            out.append(Change(*key, new.mean_deg - old.mean_deg, detectable(new, old)))
    return out
