"""What the review shows, as numbers: lines aligned at a position, rows of the rep table, cues to play. No Qt here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.document import Document, JudgedRep
from imufeedback.figure.pose import POSE
from imufeedback.record.trace import Stretch, Trace
from imufeedback.records import Floats, Hand, Verdict
from imufeedback.report.story import counted, finding_words, nothing

ALIGNED = ("top_s", "level_s", "impact_s")
"""Positions by which reps are lined up."""
BEFORE_S, AFTER_S = 0.3, 0.5
"""Shown before the address and behind the finish."""
POSITIONS = ("top_s", "level_s", "impact_s", "finish_s")
"""Where a coach stops a rep to talk."""
COLUMNS = (
    ("top", "trail_thigh_angle_top_deg"),
    ("level", "trail_thigh_angle_level_deg"),
    ("impact", "trail_thigh_angle_impact_deg"),
    ("finish", "trail_thigh_angle_finish_deg"),
    ("lowest", "trail_thigh_angle_min_deg"),
    ("lost", "trail_thigh_loss_top_finish_deg"),
    ("flat turn", "trail_thigh_flat_turn_deg"),
    ("± sd", "thigh_angle_sd_deg"),
)


def quantities(hand: Hand) -> dict[str, str]:
    """What can be drawn: words to the trace's column."""
    return {
        "trail thigh angle": f"{hand.trail}_hip_flexion_deg",
        "lead thigh angle": f"{hand.lead}_hip_flexion_deg",
        "trail hip rotation": f"{hand.trail}_hip_internal_rotation_deg",
        "lead hip rotation": f"{hand.lead}_hip_internal_rotation_deg",
        "pelvis turn": "pelvis_turn_deg",
        "pelvis side tilt": "pelvis_side_tilt_deg",
    }


@dataclass(frozen=True, slots=True)
class Overlaid:
    """One rep's line."""

    rep: int
    x: Floats
    """Seconds from the position, or degrees of pelvis turn."""
    y: Floats
    sd: Floats
    fault: bool


def stretch_of(trace: Trace, rep: JudgedRep) -> Stretch:
    return trace.stretch(rep.start_s - BEFORE_S, rep.end_s + AFTER_S)


def overlay(trace: Trace, reps: Iterable[JudgedRep], column: str, position: str) -> list[Overlaid]:
    """The reps with their position at 0 s; a rep without that position is left out, and one that does not count."""
    out = []
    for rep in reps:
        if position in rep.positions and not rep.void:
            part = stretch_of(trace, rep)
            x = part.t_s - rep.positions[position]
            out.append(Overlaid(rep.index, x, part.angle(column), part.sd(column), _fault(rep)))
    return out


def against_turn(trace: Trace, reps: Iterable[JudgedRep], column: str) -> list[Overlaid]:
    """The reps from top to finish, over the turn of the pelvis: slow and fast ones on one line."""
    out = []
    for rep in counted(reps):
        part = trace.stretch(rep.positions.get("top_s", rep.start_s), rep.end_s)
        turn = part.angle("pelvis_turn_deg")
        out.append(Overlaid(rep.index, turn, part.angle(column), part.sd(column), _fault(rep)))
    return out


def _fault(rep: JudgedRep) -> bool:
    return bool(rep.found(Verdict.FAULT))


def found(rep: JudgedRep) -> str:
    """What was wrong in a rep, in a few words; or why it was not judged."""
    if rep.void:
        return f"does not count: {rep.void}"
    words = [finding_words(finding.rule, finding.verdict) for finding in rep.findings]
    return ", ".join(words) or nothing(len(rep.unjudged))


def changed(then: Document, now: Document) -> list[str]:
    """How two verdicts on one recording differ, rep by rep (reps are the same when they overlap in time)."""
    lines = []
    for rep in now.reps:
        old = next((one for one in then.reps if one.start_s < rep.end_s and one.end_s > rep.start_s), None)
        if old is None:
            lines.append(f"rep {rep.index + 1}: was not found before")
        elif found(old) != found(rep):
            lines.append(f"rep {rep.index + 1}: {found(old)} before, {found(rep)} now")
    gone = len(then.reps) - len(now.reps)
    return lines + ([f"{gone} reps fewer than before"] if gone > 0 else [])


def cues_between(reps: Sequence[JudgedRep], from_s: float, to_s: float) -> list[str]:
    """Sounds of the cues whose time has just been passed, in order; `from_s` itself is over."""
    cues = sorted((cue.t_s, cue.sound) for rep in reps for cue in rep.cues)
    return [sound for t_s, sound in cues if from_s < t_s <= to_s]


class PlaybackClock:
    """Session time that runs at a speed between two ends. The clock is given, so that it can be tested."""

    def __init__(self) -> None:
        self.begin_s = self.end_s = self.now_s = 0.0
        self.speed = 0.25
        self.running = False
        self._at: float | None = None

    def load(self, begin_s: float, end_s: float) -> None:
        self.begin_s, self.end_s, self.now_s = begin_s, end_s, begin_s
        self.running, self._at = False, None

    def toggle(self) -> None:
        self.running = not self.running
        self._at = None
        if self.running and self.now_s >= self.end_s:
            self.now_s = self.begin_s

    def seek(self, now_s: float) -> None:
        self.now_s, self._at = min(max(now_s, self.begin_s), self.end_s), None

    def advance(self, clock_s: float) -> tuple[float, float]:
        """Session time before and now; stops at the end."""
        before = self.now_s
        if self.running:
            if self._at is not None:
                self.now_s = min(self.now_s + (clock_s - self._at) * self.speed, self.end_s)
            self._at = clock_s
            if self.now_s >= self.end_s:
                self.running, self._at = False, None
        return before, self.now_s


def pose_at(stretch: Stretch, row: int) -> Floats:
    """(11,) the body at one row, in the order of `imufeedback.figure.pose.POSE`."""
    return np.array([stretch.angle(name)[row] for name in POSE])


def same_place(played: JudgedRep, other: JudgedRep, at_s: float) -> float:
    """The time at which `other` is as far in its movement as `played` is at `at_s`: between positions that both have,
    by their share of the time; beyond them at the same pace."""
    names = sorted(set(played.positions) & set(other.positions), key=lambda name: played.positions[name])
    pairs = [(played.start_s, other.start_s)]
    for here, there in [*((played.positions[one], other.positions[one]) for one in names), (played.end_s, other.end_s)]:
        if here > pairs[-1][0] and there > pairs[-1][1]:
            pairs.append((here, there))
    here_s, there_s = (np.array(column) for column in zip(*pairs, strict=True))
    if at_s <= here_s[0]:
        return float(there_s[0] + at_s - here_s[0])
    if at_s >= here_s[-1]:
        return float(there_s[-1] + at_s - here_s[-1])
    return float(np.interp(at_s, here_s, there_s))


def place_word(rep: JudgedRep, at_s: float, near_s: float = 0.05) -> str:
    """Name of the positions position that is here; empty between them."""
    near = [(abs(rep.positions[position] - at_s), position) for position in POSITIONS if position in rep.positions]
    distance_s, position = min(near, default=(np.inf, ""))
    return position.removesuffix("_s") if distance_s <= near_s else ""
