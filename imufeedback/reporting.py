"""From a recording to what the report shows: judged, with the curves of its reps."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from imufeedback.judging import Judged, judge
from imufeedback.record.trace import Trace
from imufeedback.records import Hand
from imufeedback.report.page import Curve, Session
from imufeedback.report.story import best, worst
from imufeedback.rules import parse_rule_set


def trail_column(hand: Hand) -> str:
    """Name of the trail thigh angle's column in a trace."""
    return f"{hand.trail}_hip_flexion_deg"


def curve(trace: Trace, rep: Mapping[str, Any], hand: Hand) -> Curve:
    """Trail thigh angle against pelvis turn, top to finish."""
    part = trace.stretch(rep["marks"].get("top_s", rep["start_s"]), rep["end_s"])
    column = trail_column(hand)
    return Curve(part.angle("pelvis_turn_deg"), part.angle(column), part.sd(column))


def session_of(path: str | os.PathLike[str]) -> Session:
    """Judge a recording and gather what its report shows. Raises NoRecording, BadFile."""
    with tempfile.TemporaryDirectory(prefix="imufeedback-report-") as folder:
        trace_path = Path(folder) / "trace"
        judged = judge(path, trace=trace_path)
        return from_judged(judged, Trace(trace_path))


def from_judged(
    judged: Judged,
    trace: Trace,
    *,
    player: str = "",
    notes: tuple[str, ...] = (),
    tags: tuple[str, ...] = (),
    discarded: frozenset[int] = frozenset(),
) -> Session:
    """What the report shows of a judged recording; `player` corrects the name in the recording."""
    hand = judged.settings.player.hand
    reps = [one for one in judged.summary["reps"] if one["index"] not in discarded]
    shown = [one.rep for one in [*best(reps), *worst(reps)]]
    return Session(
        summary=judged.summary,
        player=player or judged.settings.player.name,
        title=judged.recording.title,
        started=judged.recording.started,
        rule_title=parse_rule_set(judged.settings.rule_set, "rule set of the session").title,
        curves={one["index"]: curve(trace, one, hand) for one in shown},
        notes=notes,
        tags=tags,
        discarded=discarded,
    )
