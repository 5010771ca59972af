"""Marks in the traces: vertical lines at the marks of a rep, signs where the live state went wrong, shaded phases."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass

from PySide6.QtCore import Qt

from imufeedback.app.palette import PaintedSign
from imufeedback.records import Motion, Phase, PhaseChanged, Rep

LINE_STYLES = {
    "top_s": Qt.PenStyle.DashLine,
    "impact_s": Qt.PenStyle.SolidLine,
    "finish_s": Qt.PenStyle.DotLine,
}
"""Marks that get a line, told apart by their stroke."""

STATE_SIGNS = {Motion.STALLED: PaintedSign.SQUARE, Motion.GROWING: PaintedSign.UP}
"""Live states that get a sign on the trace."""

SHADED = (Phase.BACKSWING, Phase.DOWNSWING, Phase.THROUGH_SWING)
SPANS_KEPT = 64


@dataclass(frozen=True, slots=True)
class TimeMark:
    """A vertical line: which mark, when, and of which rep (counted from 1, as people do)."""

    name: str
    t_s: float
    number: int


@dataclass(frozen=True, slots=True)
class StateMark:
    """Where the trail thigh angle began to stall or grow."""

    t_s: float
    angle_deg: float
    state: Motion


def marks_of(rep: Rep) -> list[TimeMark]:
    """The marks of a rep that get a line; one that was not found gets none."""
    return [TimeMark(name, rep.positions[name], rep.index + 1) for name in LINE_STYLES if name in rep.positions]


class PhaseSpans:
    """When which phase was, from the changes as they are told."""

    def __init__(self) -> None:
        self._changes: deque[PhaseChanged] = deque(maxlen=SPANS_KEPT)

    def hear(self, event: PhaseChanged) -> None:
        self._changes.append(event)

    def between(self, from_s: float, to_s: float) -> Iterator[tuple[Phase, float, float]]:
        """Shaded phases within a stretch of time, cut to it; the present one goes on to its end."""
        ends = [*[one.t_s for one in self._changes][1:], to_s]
        for change, end_s in zip(self._changes, ends, strict=False):
            if change.phase in SHADED and end_s > from_s and change.t_s < to_s:
                yield change.phase, max(change.t_s, from_s), min(end_s, to_s)
