"""From a recording to what reports and the review show: judged once, kept beside it, with what people wrote."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import msgspec
import numpy as np
from msgspec import UNSET

from imufeedback import people, resources, shipped
from imufeedback.commands import settings_of
from imufeedback.document import Document, JudgedRep
from imufeedback.errors import BadFile, BadToml, UsageError
from imufeedback.figure.pose import POSE, body
from imufeedback.record.library.edits import Edits, read_edits
from imufeedback.record.library.places import trace_of
from imufeedback.record.library.verdicts import KeptVerdict, add_verdict, look
from imufeedback.record.trace import Trace
from imufeedback.record.window import open_window
from imufeedback.records import Hand
from imufeedback.report.session import DrillWords, Frame, Frames, RepCurve, SessionReport
from imufeedback.report.story import Next, best, counted, next_drill, severity, worst
from imufeedback.review.judging import judge, way_of
from imufeedback.rules import parse_recorded, parse_rule_set
from imufeedback.settings import Settings

NEAR_S = 0.05
"""A position without a sample so near has no picture."""
Progress = Callable[[float], None]


@dataclass(frozen=True, slots=True)
class Judgement:
    """A session with its newest verdict."""

    path: Path
    settings: Settings
    summary: Document
    """With notes on the files beside the recording."""
    trace: Trace
    others: tuple[KeptVerdict, ...]
    """Other verdicts that are kept, oldest first."""
    edits: Edits
    title: str
    started: datetime | None
    duration_s: float
    rules: str
    """Title of the rules it was judged by."""

    @property
    def hand(self) -> Hand:
        return self.settings.player.hand

    @property
    def player(self) -> str:
        return self.settings.player.name if self.edits.player is None else self.edits.player

    @property
    def discarded(self) -> frozenset[int]:
        """Reps that do not count."""
        return frozenset(one.index for one in self.summary.reps if one.discarded)


def judgement(
    path: str | os.PathLike[str],
    work: Path,
    *,
    keep: bool,
    rule_set: str | None = None,
    on_progress: Progress = lambda seconds: None,
) -> Judgement:
    """The verdict on a recording by today's algorithm and its own rules, or by `rule_set` (text of another one).

    One that was kept is used again. With `keep` a new one is put beside the recording; else its trace goes to the
    folder `work`. Raises NoRecording, BadFile, CannotWrite.
    """
    path = Path(path)
    window = open_window(path)
    try:
        if window.begin is None:
            raise UsageError(
                "its beginning is damaged", hint="only a recording that keeps its first item can be checked"
            )
        settings = settings_of(window.begin)
        text = settings.rule_set if rule_set is None else rule_set
        rules = parse_recorded(text, "rule set")[0].title
    except UsageError as error:
        raise BadFile(error.what, where=str(path), hint=error.hint) from error
    key = way_of(settings, rule_set)
    before = look(path)
    kept = next((one for one in before.all if one.key == key and _complete(one.summary)), None)
    trace = None if kept is None else _trace(path)
    if kept is None or trace is None:
        place = trace_of(path) if keep else work / f"{path.stem}.trace"
        place.unlink(missing_ok=True)
        judged = judge(path, rule_set=rule_set, trace=place, on_progress=on_progress)
        trace = Trace(place)
        summary, duration_s, others = judged.summary, judged.duration_s, before.all
        if keep:
            *others, new = add_verdict(path, summary, key=key, rules=rules, duration_s=duration_s)
            summary = new.summary
    else:
        summary, duration_s = kept.summary, kept.duration_s
        others = [one for one in before.all if one is not kept]
    edits = read_edits(path)
    beside = [edits.words(), f"its earlier results are put aside: {before.trouble}" if before.trouble else ""]
    out = edits.out_of(summary.reps)
    reps = [msgspec.structs.replace(one, discarded=one.index in out) for one in summary.reps]
    summary = msgspec.structs.replace(summary, reps=reps, notes=[*summary.file_notes, *(one for one in beside if one)])
    title = window.title if edits.title is None else edits.title
    return Judgement(
        path, settings, summary, trace, tuple(others), edits, title, window.started, duration_s, rules
    )  # fmt: skip


def _complete(summary: Document) -> bool:
    """Whether everything is there that a report looks at."""
    return summary.totals is not None and summary.notes is not UNSET


def _trace(recording: Path) -> Trace | None:
    """The angles beside a recording; they depend on it and on the filter, not on the rules. None for ones that are
    older, damaged or not there: they are made again."""
    trace = trace_of(recording)
    try:
        return Trace(trace) if trace.stat().st_mtime_ns >= recording.stat().st_mtime_ns else None
    except (OSError, BadFile):
        return None


def trail_column(hand: Hand) -> str:
    """Name of the trail thigh angle's column in a trace."""
    return f"{hand.trail}_hip_flexion_deg"


def curve(trace: Trace, rep: JudgedRep, hand: Hand) -> RepCurve:
    """Trail thigh angle against pelvis turn, top to finish."""
    part = trace.stretch(rep.positions.get("top_s", rep.start_s), rep.end_s)
    column = trail_column(hand)
    return RepCurve(part.angle("pelvis_turn_deg"), part.angle(column), part.sd(column))


def session_of(found: Judgement) -> SessionReport:
    """What the report shows of it."""
    reps = counted(found.summary.reps)
    following = next_of(reps)
    shown = [one.rep for one in [*best(reps), *worst(reps)]]
    return SessionReport(
        summary=found.summary,
        player=found.player,
        title=found.title,
        started=found.started,
        rule_title=found.rules,
        curves={rep.index: curve(found.trace, rep, found.hand) for rep in shown},
        notes=tuple(found.edits.notes),
        tags=tuple(found.edits.tags),
        drill=_drill(following),
        next=following,
        positions=_positions(found, reps),
        homework=homework_of(found.player),
        discarded=found.discarded,
    )


def homework_of(player: str) -> tuple[str, ...]:
    """The player's, line by line, with the days on which it was done; none for who is not known here."""
    person = people.load(resources.data_folder() / "players").find(player) if player else None
    return tuple(_homework_line(one) for one in person.homework) if person is not None else ()


def _homework_line(one: people.Homework) -> str:
    title = one.drill
    if one.drill in resources.available("drills"):
        title = parse_rule_set(resources.text("drills", one.drill), one.drill).title
    done = f"Done on {', '.join(f'{day:%d %b}' for day in one.done)}." if one.done else "Not done yet."
    return f"{title}: {one.reps} reps on {one.days} days, given on {one.given:%d %b}. {done}"


POSITIONS = ("top", "level", "impact", "finish")


def _positions(found: Judgement, reps: Sequence[JudgedRep]) -> Frames | None:
    """The body at the positions of the rep with the fewest faults; None when no position of it has one."""
    if not reps:
        return None
    rep = min(reps, key=severity)
    frames = [one for one in (_frame(found, rep, name) for name in POSITIONS) if one is not None]
    return Frames(rep.index, found.hand, frames, _target_deg(found)) if frames else None


def _frame(found: Judgement, rep: JudgedRep, name: str) -> Frame | None:
    at_s = rep.positions.get(f"{name}_s")
    if at_s is None:
        return None
    part = found.trace.stretch(at_s - NEAR_S, at_s + NEAR_S)
    if not len(part.t_s):
        return None
    row = int(np.argmin(np.abs(part.t_s - at_s)))
    pose = np.array([part.angle(one)[row] for one in POSE])
    spreads = (float(part.sd(one)[row]) for one in (trail_column(found.hand), "pelvis_turn_deg"))
    angle_sd, turn_sd = (one if np.isfinite(one) else None for one in spreads)
    return None if body(pose, found.hand) is None else Frame(name, pose, angle_sd, turn_sd)


def _target_deg(found: Judgement) -> float | None:
    try:
        return parse_recorded(found.settings.rule_set, "rule set")[0].live.target_deg
    except BadToml:
        return None


def next_of(reps: Sequence[JudgedRep]) -> Next | None:
    """What comes next by the causes that are known here, a coach's own before those that ship."""
    return next_drill(reps, lambda rule: shipped.words_of(rule).drill, shipped.causes())


def _drill(following: Next | None) -> DrillWords | None:
    """The drill that comes next; None when none is made for it, or the player's own file of it is not there."""
    if following is None or following.drill not in resources.available("drills"):
        return None
    found = parse_rule_set(resources.text("drills", following.drill), f"drill {following.drill}")
    return None if found.drill is None else DrillWords(found.title, found.drill.instructions, found.drill.stop)
