"""Reps of a hip turn over a standing leg: the pelvis turns over a still thigh and comes back, inward or outward.

Not a swing: there is no address and no target. A rep begins from a moment of rest, goes to its furthest rotation and is
over when it has come back most of the way. What the standing thigh itself does meanwhile is measured too, because a leg
that turns along makes any range look good.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.motion import errorbars as bars
from imufeedback.motion.track import Col, track
from imufeedback.records import Angles, Floats, Hand, Rep
from imufeedback.stage import Stage

RESTS_RAD_S, RESTS_S = math.radians(6.0), 0.3
LEAVES_RAD = math.radians(4.0)
BACK_SHARE = 0.4
"""Over when the rotation has come back to this part of its furthest."""
LOST_S = 0.2
MAX_S = 20.0


class _At(StrEnum):
    MOVING = "moving"
    RESTS = "rests"
    TURNS = "turns"


@dataclass
class _State:
    side: str = "trail"
    least_rad: float = math.radians(10.0)
    kind: str = "hip-turn"
    at: _At = _At.MOVING
    slow_since_s: float | None = None
    begin: list[float] = field(default_factory=list)
    """The row of the last moment of rest."""
    furthest: float = 0.0
    """Largest change of rotation since then, with its sign."""
    furthest_s: float = 0.0
    lost_since_s: float | None = None
    rows: list[list[float]] = field(default_factory=list)
    count: int = 0


class HipTurnStage(Stage[Angles, Rep]):
    """Finds hip turns over one standing leg."""

    _state: _State

    def __init__(self, *, hand: Hand) -> None:
        self._hand = hand
        self._state = _State()

    def use(self, *, side: str, least_rad: float, kind: str) -> None:
        """Which leg stands (``trail`` or ``lead``), and the least rotation of a rep."""
        self._state = _State(side=side, least_rad=least_rad, kind=kind, count=self._state.count)

    def feed(self, item: Angles) -> list[Rep]:
        try:
            rows = track(item, self._hand)
        except KeyError:
            return []
        return [rep for row in rows.tolist() for rep in self._step(row)]

    @property
    def _cols(self) -> tuple[Col, Col]:
        if self._state.side == "trail":
            return Col.TRAIL_ROTATION, Col.TRAIL_ROTATION_RATE
        return Col.LEAD_ROTATION, Col.LEAD_ROTATION_RATE

    def _step(self, row: list[float]) -> list[Rep]:
        s = self._state
        t_s = row[Col.T]
        if not row[Col.OK]:
            s.lost_since_s = t_s if s.lost_since_s is None else s.lost_since_s
            if t_s - s.lost_since_s > LOST_S:
                s.at, s.slow_since_s = _At.MOVING, None
            return []
        s.lost_since_s = None
        col, rate_col = self._cols
        if abs(row[rate_col]) > RESTS_RAD_S:
            s.slow_since_s = None
        elif s.slow_since_s is None:
            s.slow_since_s = t_s
        rests = s.slow_since_s is not None and t_s - s.slow_since_s >= RESTS_S
        if s.at is _At.TURNS:
            return self._turning(row, row[col] - s.begin[col], rests)
        if rests:
            s.at, s.begin = _At.RESTS, row
        elif s.at is _At.RESTS and abs(row[col] - s.begin[col]) > LEAVES_RAD:
            s.at, s.rows = _At.TURNS, [s.begin]
            s.furthest, s.furthest_s = row[col] - s.begin[col], t_s
        return []

    def _turning(self, row: list[float], change: float, rests: bool) -> list[Rep]:
        s = self._state
        s.rows.append(row)
        if change * s.furthest > s.furthest**2:
            s.furthest, s.furthest_s = change, row[Col.T]
        back = abs(change) < BACK_SHARE * abs(s.furthest) or change * s.furthest < 0
        small = abs(s.furthest) < s.least_rad
        if row[Col.T] - s.begin[Col.T] > MAX_S or (back and small) or (rests and small):
            s.at = _At.MOVING
        elif back:
            s.at = _At.MOVING
            return [self._measured(np.array(s.rows))]
        return []

    def _measured(self, rows: Floats) -> Rep:
        s = self._state
        begin_s, end_s = float(rows[0, Col.T]), float(rows[-1, Col.T])
        change = math.degrees(s.furthest)
        wobble = math.degrees(thigh_wobble(rows, s.side))
        turn = np.interp(s.furthest_s, rows[:, Col.T], rows[:, Col.TURN]) - rows[0, Col.TURN]
        features = {
            "standing_hip_rotation_deg": abs(change),
            "standing_hip_rotation_sd_deg": bars.rotation(change),
            "standing_thigh_wobble_deg": wobble,
            "standing_thigh_wobble_sd_deg": bars.wobble(change),
            "pelvis_turn_deg": abs(math.degrees(turn)),
            "standing_hip_rate_max_deg_s": math.degrees(float(np.max(np.abs(rows[:, self._cols[1]])))),
            "rep_s": end_s - begin_s,
        }
        direction = "in" if change > 0 else "out"
        marks = {"begin_s": begin_s, "furthest_s": s.furthest_s, "finish_s": end_s}
        rep = Rep(s.count, f"{s.kind} {direction}", begin_s, end_s, marks, (), features)
        s.count += 1
        return rep


def thigh_wobble(rows: Floats, side: str) -> float:
    """Largest turn (rad) of the standing thigh in the room, from its pose in the first row.

    In the player's own signs both hands are one: pelvis ``Ry(turn)·Rx(side tilt)·Rz(-forward tilt)``, trail hip
    ``Rz(flexion)·Rx(adduction)·Ry(rotation)``, lead hip with the last two negated (see the sign table).
    """
    pelvis = Rotation.from_euler(
        "YXZ", np.column_stack((rows[:, Col.TURN], rows[:, Col.SIDE_TILT], -rows[:, Col.FORWARD_TILT]))
    )
    flexion, adduction, rotation, sign = (
        (Col.TRAIL_THIGH, Col.TRAIL_ADDUCTION, Col.TRAIL_ROTATION, 1.0)
        if side == "trail"
        else (Col.LEAD_THIGH, Col.LEAD_ADDUCTION, Col.LEAD_ROTATION, -1.0)
    )
    hip = Rotation.from_euler(
        "ZXY", np.column_stack((rows[:, flexion], sign * rows[:, adduction], sign * rows[:, rotation]))
    )
    thigh = pelvis * hip
    return float((thigh[0].inv() * thigh).magnitude().max())
