"""Fitting movements by the clock: says what to do now, and knows afterwards when it was done."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.records import Json, Segment


@dataclass(frozen=True, slots=True)
class Move:
    """One stretch of the fitting."""

    number: int
    """Line of `texts.fit_list`."""
    duration_s: float
    turns: tuple[Segment, ...] = ()
    """Segments whose axis shows in it."""


MOVES = (
    Move(0, 4.0),
    Move(1, 7.0, (Segment.RIGHT_THIGH, Segment.RIGHT_SHANK)),
    Move(2, 7.0, (Segment.LEFT_THIGH, Segment.LEFT_SHANK)),
    Move(3, 8.0, (Segment.PELVIS,)),
    Move(4, 3.0),
)
TRIM_S = 0.4
"""Off both ends of standing still: nobody stands at once."""


@dataclass(frozen=True, slots=True)
class Guide:
    """A fitting that begins at `begin_s` of the session."""

    begin_s: float
    worn: tuple[Segment, ...]

    def at(self, now_s: float) -> tuple[Move | None, float]:
        """The move of this instant and the seconds that it has left; None when all are over."""
        until_s = self.begin_s
        for move in MOVES:
            until_s += move.duration_s
            if now_s < until_s:
                return move, until_s - now_s
        return None, 0.0

    @property
    def args(self) -> dict[str, Json]:
        """Arguments of the command ``fit``."""
        flex: dict[str, list[float]] = {}
        at_s = self.begin_s
        for move in MOVES:
            flex |= {str(one): [at_s, at_s + move.duration_s] for one in move.turns if one in self.worn}
            at_s += move.duration_s
        return {"still": [self.begin_s + TRIM_S, self.begin_s + MOVES[0].duration_s - TRIM_S], "flex": flex}
