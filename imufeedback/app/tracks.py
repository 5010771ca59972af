"""The reps of a session as curves, what a coach said about them, and which of them is the one to compare with.

Knows nothing of Qt. Curves are thinned: they are for looking at; the recording has every sample.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np

from imufeedback.app.feed import TRAIL_THIGH, TURN
from imufeedback.records import Finding, Floats, Rep, Verdict

POINTS = 240
"""Kept of one rep."""
REPS_KEPT = 200
SAME_TURN_DEG = 5.0
"""Reps are shown over each other only where both were turned as far as this, or nearly: more can be seen."""
ANGLES = ("top", "impact", "finish")
"""Positions at which the trail thigh angle is compared."""


class Choice(StrEnum):
    """What the last rep is compared with."""

    BEST = "best"
    FIRST = "first"
    COACH = "coach"
    """Marked good by the coach, the newest of them."""
    EARLIER = "earlier"
    """Best of a session about a week ago, else of the last one."""
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Track:
    """One rep from its address to its finish."""

    number: int
    """Counted from 1."""
    turn_deg: Floats
    """(N,) pelvis turn."""
    thigh_deg: Floats
    """(N,) trail thigh angle."""
    down_from: int
    """Index at which the downswing begins."""
    at_marks_deg: tuple[float | None, ...] = (None, None, None)
    """Trail thigh angle at `ANGLES`."""
    label: str = ""
    """Where it comes from, when it is not of this session."""
    pose_deg: Floats | None = None
    """(N, 11) the body (`imufeedback.figure.pose.POSE`); None for a rep that was kept without."""

    def pose_at(self, turn_deg: float, *, down: bool) -> Floats | None:
        """The body where the pelvis was turned as far, on the way down (from the top on) or before it: turn is the one
        measure of phase that both reps have while one of them is not over yet. None when it was never turned so."""
        part = slice(self.down_from, None) if down else slice(0, self.down_from + 1)
        turns = self.turn_deg[part]
        if self.pose_deg is None or not np.isfinite(turns).any():
            return None
        nearest = int(np.nanargmin(np.abs(turns - turn_deg)))
        if abs(turns[nearest] - turn_deg) > SAME_TURN_DEG:
            return None
        pose: Floats = self.pose_deg[part][nearest]
        return pose


def track_of(rep: Rep, t_s: Floats, angle_deg: Floats, pose_deg: Floats | None = None) -> Track | None:
    """Curve of a rep from the feed's samples ``(N,)``, ``(N, columns)``; None when they do not hold it any more."""
    start_s, end_s = rep.positions.get("address_s", rep.start_s), rep.positions.get("finish_s", rep.end_s)
    inside = np.flatnonzero((t_s >= start_s) & (t_s <= end_s))
    if len(inside) < 2:
        return None
    pick = inside[np.unique(np.linspace(0, len(inside) - 1, POINTS).astype(int))]
    turn, thigh = angle_deg[pick, TURN], angle_deg[pick, TRAIL_THIGH]
    if not (np.isfinite(turn) & np.isfinite(thigh)).any():
        return None
    down_from = int(np.searchsorted(t_s[pick], rep.positions.get("top_s", start_s)))
    at_marks = tuple(rep.features.get(f"trail_thigh_angle_{mark}_deg") for mark in ANGLES)
    pose = None if pose_deg is None else pose_deg[pick]
    return Track(rep.index + 1, turn, thigh, min(down_from, len(pick) - 1), at_marks, pose_deg=pose)


@dataclass
class RepEntry:
    """One rep and what is known and said about it."""

    rep: Rep
    track: Track | None
    findings: list[Finding] = field(default_factory=list)
    discarded: bool = False
    good: bool = False
    note: str = ""
    told: bool = True
    """Its result may be shown; False while the block, or the player's own estimate, is waited for."""

    @property
    def counts(self) -> bool:
        """Judged, and not taken out."""
        return not self.discarded and not self.rep.void

    @property
    def faults(self) -> int:
        return sum(one.verdict is Verdict.FAULT for one in self.findings)

    @property
    def unsure(self) -> int:
        return len(self.findings) - self.faults

    @property
    def rank(self) -> tuple[float, ...]:
        """Smaller is better: marked good, few faults, little doubt, short stalls."""
        flat = self.rep.features.get("trail_thigh_flat_turn_deg", float("inf"))
        return (not self.good, self.faults, self.unsure, flat)


class Book:
    """All reps of a session."""

    def __init__(self, earlier: Track | None = None) -> None:
        self.earlier = earlier
        self._entries: dict[int, RepEntry] = {}
        self._early: dict[int, list[Finding]] = {}

    @property
    def entries(self) -> list[RepEntry]:
        """In the order of the reps."""
        return list(self._entries.values())

    @property
    def counted(self) -> list[RepEntry]:
        """Those that were judged and not discarded, and may be told of."""
        return [one for one in self._entries.values() if one.counts and one.told]

    @property
    def last(self) -> RepEntry | None:
        return self.entries[-1] if self._entries else None

    @property
    def last_told(self) -> RepEntry | None:
        """The newest whose result may be shown."""
        return next((one for one in reversed(self.entries) if one.told), None)

    def find(self, index: int) -> RepEntry | None:
        return self._entries.get(index)

    def add(self, rep: Rep, track: Track | None, *, told: bool = True) -> RepEntry:
        """A rep is over; told again it replaces its numbers."""
        before = self._entries.get(rep.index)
        entry = RepEntry(rep, track, self._early.pop(rep.index, []))
        if before is not None:
            entry = RepEntry(rep, track or before.track, before.findings, before.discarded, before.good, before.note)
        entry.told = told
        self._entries[rep.index] = entry
        while len(self._entries) > REPS_KEPT:
            self._entries.pop(next(iter(self._entries)))
        return entry

    def add_finding(self, finding: Finding) -> None:
        """May come before or after its rep."""
        entry = self._entries.get(finding.rep)
        if entry is None:
            self._early.setdefault(finding.rep, []).append(finding)
        else:
            entry.findings.append(finding)

    def best(self) -> RepEntry | None:
        """The best rep so far; of equals the newest."""
        with_track = [one for one in self.counted if one.track is not None]
        return min(reversed(with_track), key=lambda one: one.rank) if with_track else None

    def reference(self, choice: Choice) -> Track | None:
        """What to compare with; None when there is none."""
        with_track = [one for one in self.counted if one.track is not None]
        if choice is Choice.EARLIER:
            return self.earlier
        if choice is Choice.NONE or not with_track:
            return None
        if choice is Choice.BEST:
            found = self.best()
        elif choice is Choice.FIRST:
            found = with_track[0]
        else:
            found = next((one for one in reversed(with_track) if one.good), None)
        return found.track if found is not None else None

    def pair(self, choice: Choice) -> tuple[Track | None, Track | None]:
        """The last rep that was told, and what it is compared with: nothing with itself."""
        last = self.last_told.track if self.last_told is not None else None
        reference = self.reference(choice)
        return last, None if reference is last else reference

    def possible(self) -> list[Choice]:
        """Choices that have something to show."""
        return [one for one in Choice if one is Choice.NONE or self.reference(one) is not None]
