"""Positions that are reached and held: a stop half-way down, a finish.

A rep begins when the turn goes below one value, comes to its position with a rest above another one, and is over when
the rest has lasted long enough or the player has left it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from imufeedback.motion import errorbars as bars
from imufeedback.motion.doubts import Doubts
from imufeedback.motion.needs import SWING, Restarted
from imufeedback.motion.track import Col, track
from imufeedback.records import Angles, Floats, Hand, Rep, Zeroed
from imufeedback.stage import Stage

RESTS_RAD_S, SETTLES_S = math.radians(8.0), 0.25
"""A rest: slower than this for so long. Chosen, no source."""
LEAST_S = 0.6
"""A shorter one is a reversal and no rest."""
LEAVES_RAD = math.radians(8.0)
"""Turn from the begin of the rest with which the position is left."""
LOST_S = 0.2
MAX_S = 20.0
"""From the begin to the rest; longer, and the player did something else."""


@dataclass(frozen=True, slots=True)
class HoldLimits:
    """What makes a held position a rep."""

    from_below_rad: float
    at_least_rad: float
    hold_s: float


@dataclass
class _State:
    limits: HoldLimits
    kind: str = "hold"
    begin_s: float | None = None
    """The turn was below its value at this time; None while it has not been."""
    slow_since_s: float | None = None
    rows: list[list[float]] = field(default_factory=list)
    """Of the rest; empty while there is none."""
    turn: float = 0.0
    """Newest one."""
    zeroed_by: float = 0.0
    """Turn that a zero within the rest took away."""
    lost_since_s: float | None = None
    count: int = 0
    doubts: Doubts = field(default_factory=lambda: Doubts(SWING))


In = Angles | Zeroed | Restarted


class HoldStage(Stage[In, Rep]):
    """Finds held positions. One in which an angle was not known is void."""

    _state: _State

    def __init__(self, *, hand: Hand) -> None:
        self._hand = hand
        self._state = _State(HoldLimits(0.0, 0.0, 1.0))

    def use(self, limits: HoldLimits, *, kind: str) -> None:
        """Which position, and how long."""
        self._state = _State(limits, kind, count=self._state.count)

    def feed(self, item: In) -> list[Rep]:
        s = self._state
        if isinstance(item, Restarted):
            s.doubts.coming.append(item)
            return []
        if isinstance(item, Zeroed):
            self._zeroed(item)
            return []
        try:
            rows = track(item, self._hand)
        except KeyError:
            return []
        return [rep for row in rows.tolist() for rep in self._step(row)]

    def _zeroed(self, item: Zeroed) -> None:
        """Half-way down looks like an address to the body: within a rest the turn goes on to count from before."""
        s = self._state
        coming = s.begin_s is not None and s.slow_since_s is not None and s.turn >= s.limits.at_least_rad
        if s.rows or coming:
            s.zeroed_by = s.turn
        else:
            s.begin_s, s.slow_since_s, s.zeroed_by = None, None, 0.0
            s.doubts.zeroed(item.t_s)

    def _step(self, row: list[float]) -> list[Rep]:
        s = self._state
        s.doubts.look(row, self._hand)
        t_s, turn = row[Col.T], row[Col.TURN] + s.zeroed_by
        if math.isnan(turn):
            return self._blind(t_s)
        s.lost_since_s, s.turn = None, turn
        if abs(row[Col.TURN_RATE]) > RESTS_RAD_S:
            s.slow_since_s = None
        elif s.slow_since_s is None:
            s.slow_since_s = t_s
        if s.rows:
            return self._held(row, turn)
        if turn < s.limits.from_below_rad:
            if s.begin_s is None:
                s.doubts.forget()
            s.begin_s = t_s if s.begin_s is None else s.begin_s
        elif s.begin_s is not None and t_s - s.begin_s > MAX_S:
            s.begin_s = None
        elif s.begin_s is not None and turn >= s.limits.at_least_rad and self._rests(t_s):
            self._held(row, turn)
        return []

    def _rests(self, t_s: float) -> bool:
        since_s = self._state.slow_since_s
        return since_s is not None and t_s - since_s >= SETTLES_S

    def _held(self, row: list[float], turn: float) -> list[Rep]:
        s = self._state
        if s.rows and abs(turn - s.rows[0][Col.TURN]) > LEAVES_RAD:
            return self._over()
        row = list(row)
        row[Col.TURN] = turn
        s.rows.append(row)
        return self._over() if row[Col.T] - s.rows[0][Col.T] + SETTLES_S >= s.limits.hold_s else []

    def _blind(self, t_s: float) -> list[Rep]:
        s = self._state
        s.lost_since_s = t_s if s.lost_since_s is None else s.lost_since_s
        if t_s - s.lost_since_s <= LOST_S:
            return []
        if s.rows:
            return self._over()
        s.begin_s = s.slow_since_s = None
        return []

    def _over(self) -> list[Rep]:
        s = self._state
        rows, begin_s = np.array(s.rows), s.begin_s
        assert begin_s is not None  # there is no rest without it
        s.rows, s.begin_s, s.slow_since_s, s.zeroed_by = [], None, None, 0.0
        rows = rows[: np.flatnonzero(np.abs(rows[:, Col.TURN_RATE]) <= RESTS_RAD_S)[-1] + 1]  # not the leaving
        if rows[-1, Col.T] - rows[0, Col.T] + SETTLES_S < LEAST_S:
            return []
        end_s = float(rows[-1, Col.T])
        marks = {"begin_s": begin_s, "held_s": float(rows[0, Col.T]), "finish_s": end_s}
        why = "" if s.doubts.first is None else s.doubts.first[1]
        found = {} if why else _features(rows, begin_s)
        s.count += 1
        return [Rep(s.count - 1, s.kind, begin_s, end_s, {} if why else marks, (), found, why)]


def _features(rows: Floats, begin_s: float) -> dict[str, float]:
    """Means over the rest, and how much it moved."""

    def mean(col: Col) -> float:
        return math.degrees(float(np.mean(rows[:, col])))

    turn_deg, thighs = mean(Col.TURN), (mean(Col.TRAIL_THIGH), mean(Col.LEAD_THIGH))
    moved = rows[:, [Col.TURN, Col.SIDE_TILT, Col.FORWARD_TILT]]
    return {
        "hold_s": float(rows[-1, Col.T] - rows[0, Col.T]) + SETTLES_S,
        "hold_pelvis_turn_deg": turn_deg,
        "hold_pelvis_turn_sd_deg": bars.change(turn_deg),
        "hold_side_tilt_deg": mean(Col.SIDE_TILT),
        "hold_side_tilt_sd_deg": bars.at_once(mean(Col.TILT_SD)),
        "hold_trail_thigh_deg": thighs[0],
        "hold_trail_thigh_sd_deg": bars.at_once(mean(Col.THIGH_SD)),
        "hold_most_flexed_hip_deg": max(thighs),
        "hold_most_flexed_hip_sd_deg": bars.at_once(max(mean(Col.THIGH_SD), mean(Col.LEAD_THIGH_SD))),
        "hold_moved_deg": math.degrees(float(np.ptp(moved, axis=0).max())),
        "hold_moved_sd_deg": bars.GROWTH_DEG,
        "rep_s": float(rows[-1, Col.T]) - begin_s,
    }
