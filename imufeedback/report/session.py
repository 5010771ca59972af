"""What a report is made of: a session's summary, and what stands beside it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from imufeedback.document import Document, JudgedRep
from imufeedback.records import Floats, Hand
from imufeedback.report import story


@dataclass(frozen=True, slots=True)
class RepCurve:
    """The trail thigh angle of one rep against the turn of the pelvis, degrees, from top to finish."""

    turn_deg: Floats
    thigh_deg: Floats
    sd_deg: Floats


@dataclass(frozen=True, slots=True)
class DrillWords:
    """What the report says of a drill."""

    title: str
    instructions: Sequence[str]
    stop: str
    """When to stop."""


@dataclass(frozen=True, slots=True)
class Frame:
    """The body at one position of a rep."""

    name: str
    pose: Floats
    """(11,) `imufeedback.figure.pose.POSE`."""
    angle_sd_deg: float | None = None
    turn_sd_deg: float | None = None


@dataclass(frozen=True, slots=True)
class Frames:
    """One rep at its positions."""

    rep: int
    """Index."""
    hand: Hand
    frames: Sequence[Frame]
    target_deg: float | None = None


@dataclass(frozen=True, slots=True)
class SessionReport:
    """One session to report on."""

    summary: Document
    player: str = ""
    title: str = ""
    started: datetime | None = None
    """In the zone of the session."""
    rule_title: str = "Swing"
    curves: Mapping[int, RepCurve] = field(default_factory=dict)
    """By rep index."""
    notes: Sequence[str] = ()
    """What the player or coach wrote."""
    tags: Sequence[str] = ()
    drill: DrillWords | None = None
    """The drill that comes next, when there is one for it."""
    positions: Frames | None = None
    """The body at the positions of the best rep, or of the least bad one."""
    next: story.Next | None = None
    """What comes next, and why; None without reps."""
    homework: Sequence[str] = ()
    """What the player has to do at home, and what of it was done."""
    discarded: frozenset[int] = frozenset()
    """Reps that a person took out; they count nowhere."""

    @property
    def reps(self) -> list[JudgedRep]:
        """Those that count."""
        return story.counted(self._kept)

    @property
    def void(self) -> list[JudgedRep]:
        """Those that could not be judged."""
        return [rep for rep in self._kept if rep.void]

    @property
    def _kept(self) -> list[JudgedRep]:
        return [rep for rep in self.summary.reps if rep.index not in self.discarded]

    @property
    def clean(self) -> int:
        """How many reps had no fault."""
        return sum(not story.faults(rep) for rep in self.reps)

    @property
    def when(self) -> str:
        """Start in the session's own zone, with its offset: at the end of summer an hour comes twice."""
        return "date not known" if self.started is None else f"{self.started:%Y-%m-%d %H:%M (%Z)}"

    @property
    def day(self) -> str:
        return "?" if self.started is None else f"{self.started:%d %b}"
