"""Reps of a hip turn over a standing leg: the pelvis turns over a still thigh and comes back, inward or outward.

Not a swing: there is no address and no target. A rep begins from a moment of rest, goes to the furthest turn of the
pelvis and is over when it has come back most of the way. What the standing thigh itself does meanwhile is measured too,
because a leg that turns along makes the pelvis' turn look like range.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum
from functools import reduce

import numpy as np

from imufeedback.motion import errorbars as bars
from imufeedback.motion import needs
from imufeedback.motion.doubts import Doubts
from imufeedback.motion.needs import Restarted
from imufeedback.motion.track import Col, track
from imufeedback.quaternions import about, angle_of, inverse, product
from imufeedback.records import Angles, Floats, Hand, Rep, Zeroed
from imufeedback.stage import Stage

RESTS_RAD_S, RESTS_S = math.radians(6.0), 0.3
LEAVES_RAD = math.radians(4.0)
BACK_SHARE = 0.4
"""Over when the turn has come back to this part of its furthest."""
FURTHEST_SHARE, UNSEEN_THERE, UNSEEN_BACK = 0.97, 0.17, 1.05
"""Time of the begin and of the end of a turn, which are not waited for, as shares of that to and from near the furthest
turn: of a smooth movement (minimum jerk: Flash & Hogan, J Neurosci 1985;5:1688-703), a little less so that no quick
turn passes for a slow one."""
NEUTRAL_RAD, NEW_NEUTRAL_S = math.radians(12.0), 3.0
"""A rest so near to the neutral turn begins a rep; one that lasts so long elsewhere is the new neutral. Without this a
wait at the furthest turn would be taken for the beginning of the way back."""
DRIFTS_RAD = math.radians(0.5)
"""More than this at a rest is the slow beginning of a turn."""
LOST_S = 0.2
MAX_S = 20.0


class _At(StrEnum):
    MOVING = "moving"
    RESTS = "rests"
    TURNS = "turns"


@dataclass
class _State:
    side: str = "trail"
    least_rad: float = math.radians(12.0)
    """Of the pelvis' turn."""
    kind: str = "hip-turn"
    at: _At = _At.MOVING
    slow_since_s: float | None = None
    neutral: float = 0.0
    """Turn at which the player stands between two reps."""
    begin: list[float] = field(default_factory=list)
    """The row of the last moment of rest."""
    furthest: float = 0.0
    """Largest turn of the pelvis since then, with its sign."""
    furthest_s: float = 0.0
    lost_since_s: float | None = None
    rows: list[list[float]] = field(default_factory=list)
    count: int = 0
    doubts: Doubts = field(default_factory=lambda: Doubts(needs.of_hip_turn("trail")))


In = Angles | Zeroed | Restarted


class HipTurnStage(Stage[In, Rep]):
    """Finds hip turns over one standing leg. One in which an angle of that hip was not known is void."""

    _state: _State

    def __init__(self, *, hand: Hand) -> None:
        self._hand = hand
        self._state = _State()

    def use(self, *, side: str, least_rad: float, kind: str) -> None:
        """Which leg stands (``trail`` or ``lead``), and the least turn of a rep."""
        doubts = Doubts(needs.of_hip_turn(side))
        self._state = _State(side=side, least_rad=least_rad, kind=kind, count=self._state.count, doubts=doubts)

    def feed(self, item: In) -> list[Rep]:
        if isinstance(item, Restarted):
            self._state.doubts.coming.append(item)
            return []
        if isinstance(item, Zeroed):  # turn counts anew from here
            self._state.at, self._state.slow_since_s, self._state.neutral = _At.MOVING, None, 0.0
            self._state.doubts.zeroed(item.t_s)
            return []
        try:
            rows = track(item, self._hand)
        except KeyError:
            return []
        return [rep for row in rows.tolist() for rep in self._step(row)]

    def _step(self, row: list[float]) -> list[Rep]:
        s = self._state
        t_s = row[Col.T]
        bad = s.doubts.look(row, self._hand)
        if math.isnan(row[Col.TURN]):
            return self._blind(t_s)
        s.lost_since_s = None
        if abs(row[Col.TURN_RATE]) > RESTS_RAD_S:
            s.slow_since_s = None
        elif s.slow_since_s is None:
            s.slow_since_s = t_s
        rests = s.slow_since_s is not None and t_s - s.slow_since_s >= RESTS_S
        if s.at is _At.TURNS:
            return self._turning(row, _turned(s.begin, row), rests)
        away = _turned(s.begin, row) if s.begin else 0.0
        if rests and abs(_wrapped(row[Col.TURN] - s.neutral)) > NEUTRAL_RAD and not self._stays(t_s):
            s.at = _At.MOVING
        elif rests and (s.at is _At.MOVING or abs(away) < DRIFTS_RAD):
            s.at, s.begin, s.neutral = _At.RESTS, row, row[Col.TURN]
            if not bad:
                s.doubts.forget()
        elif s.at is _At.RESTS and abs(away) > LEAVES_RAD:
            s.at, s.rows = _At.TURNS, [s.begin]
            s.furthest, s.furthest_s = away, t_s
        return []

    def _blind(self, t_s: float) -> list[Rep]:
        """Without the pelvis' turn nothing is seen; for too long, and a turn that was under way is over."""
        s = self._state
        s.lost_since_s = t_s if s.lost_since_s is None else s.lost_since_s
        if t_s - s.lost_since_s <= LOST_S:
            return []
        turned = s.at is _At.TURNS and abs(s.furthest) >= s.least_rad
        s.at, s.slow_since_s = _At.MOVING, None
        return [self._void(t_s)] if turned else []

    def _void(self, end_s: float) -> Rep:
        s = self._state
        assert s.doubts.first is not None
        rep = Rep(s.count, self._kind(), s.begin[Col.T], end_s, {}, (), {}, s.doubts.first[1])
        s.count += 1
        return rep

    def _skin_deg(self, rotation_deg: float) -> float:
        """Rotation that the thigh's strap hides, as far as the pelvis turned more than was seen of the hip: over a foot
        that stands and a thigh that stays. What skin and strap cannot explain is the leg's own turn."""
        more = abs(math.degrees(self._state.furthest)) - rotation_deg
        return min(max(more, 0.0), bars.SKIN_SHARE * max(rotation_deg, 0.0))

    def _unseen_s(self, rows: Floats) -> float:
        """Time before the turn was seen to begin and after it was nearly back."""
        away = np.abs(rows[:, Col.TURN] - rows[0, Col.TURN])
        near = np.flatnonzero(away >= FURTHEST_SHARE * away.max())
        there_s, back_s = rows[near[0], Col.T] - rows[0, Col.T], rows[-1, Col.T] - rows[near[-1], Col.T]
        return float(UNSEEN_THERE * there_s + UNSEEN_BACK * back_s)

    def _stance(self, row: Floats) -> dict[str, float]:
        """How much further forward the standing thigh is than the other one, where that one is known."""
        ahead = math.degrees(float(row[Col.TRAIL_THIGH] - row[Col.LEAD_THIGH]))
        if not math.isfinite(ahead):
            return {}
        sd = math.degrees(math.hypot(row[Col.THIGH_SD], row[Col.LEAD_THIGH_SD]))
        return {
            "stance_stagger_deg": ahead if self._state.side == "trail" else -ahead,
            "stance_stagger_sd_deg": bars.at_once(sd),
        }

    def _kind(self) -> str:
        return f"{self._state.kind} {'in' if self._turns_in() else 'out'}"

    def _turns_in(self) -> bool:
        """A turn towards the target turns the lead hip in and the trail hip out (see the sign table)."""
        return (self._state.furthest > 0) == (self._state.side == "lead")

    def _stays(self, t_s: float) -> bool:
        """Here is a new place to begin from."""
        slow_since_s = self._state.slow_since_s
        return slow_since_s is not None and t_s - slow_since_s >= NEW_NEUTRAL_S

    def _turning(self, row: list[float], change: float, rests: bool) -> list[Rep]:
        s = self._state
        s.rows.append(row)
        if change * s.furthest > s.furthest**2:
            s.furthest, s.furthest_s = change, row[Col.T]
        back = abs(change) < BACK_SHARE * abs(s.furthest) or change * s.furthest < 0
        small = abs(s.furthest) < s.least_rad
        if row[Col.T] - s.begin[Col.T] > MAX_S or (back and small) or (rests and small) or self._stays(row[Col.T]):
            s.at = _At.MOVING
        elif back:
            s.at = _At.MOVING
            return [self._measured(np.array(s.rows)) if s.doubts.first is None else self._void(row[Col.T])]
        return []

    def _measured(self, rows: Floats) -> Rep:
        s = self._state
        begin_s, end_s = float(rows[0, Col.T]), float(rows[-1, Col.T])
        col, rate_col = (
            (Col.TRAIL_ROTATION, Col.TRAIL_ROTATION_RATE)
            if s.side == "trail"
            else (Col.LEAD_ROTATION, Col.LEAD_ROTATION_RATE)
        )
        inward = 1.0 if self._turns_in() else -1.0
        rotation = math.degrees(float(np.max(inward * (rows[:, col] - rows[0, col]))))
        features = {
            "standing_hip_rotation_deg": rotation,
            "standing_hip_rotation_sd_deg": bars.rotation(rotation),
            "standing_hip_range_deg": rotation + (skin := self._skin_deg(rotation)),
            "standing_hip_range_sd_deg": bars.hip_range(skin),
            "standing_thigh_wobble_deg": math.degrees(thigh_wobble(rows, s.side)),
            "standing_thigh_wobble_sd_deg": bars.wobble(rotation),
            "pelvis_off_level_deg": math.degrees(off_level(rows)),
            "pelvis_off_level_sd_deg": bars.at_once(math.degrees(float(np.max(rows[:, Col.TILT_SD])))),
            "pelvis_turn_deg": abs(math.degrees(s.furthest)),
            "standing_hip_rate_max_deg_s": math.degrees(float(np.max(np.abs(rows[:, rate_col])))),
            "rep_s": end_s - begin_s,
            "there_and_back_s": end_s - begin_s + self._unseen_s(rows),
        }
        features |= self._stance(rows[0])
        positions = {"begin_s": begin_s, "furthest_s": s.furthest_s, "finish_s": end_s}
        rep = Rep(s.count, self._kind(), begin_s, end_s, positions, (), features)
        s.count += 1
        return rep


def off_level(rows: Floats) -> float:
    """Largest tip (rad) of the pelvis from its pose in the first row, whatever it turns: the angle between its own up
    then and now, seen by somebody who turns along."""
    pelvis = _turned_about((0, rows[:, Col.SIDE_TILT]), (2, -rows[:, Col.FORWARD_TILT]))
    return float(angle_of(product(inverse(pelvis[0]), pelvis)).max())


def _turned(begin: list[float], now: list[float]) -> float:
    return _wrapped(now[Col.TURN] - begin[Col.TURN])


def _wrapped(angle: float) -> float:
    """Within half a turn: who has walked round stands where the turn jumps from 180 to -180 degrees."""
    return (angle + math.pi) % (2 * math.pi) - math.pi


def thigh_wobble(rows: Floats, side: str) -> float:
    """Largest turn (rad) of the standing thigh in the room, from its pose in the first row.

    In the player's own signs both hands are one: pelvis ``Ry(turn)·Rx(side tilt)·Rz(-forward tilt)``, trail hip
    ``Rz(flexion)·Rx(adduction)·Ry(rotation)``, lead hip with the last two negated (see the sign table).
    """
    pelvis = _turned_about((1, rows[:, Col.TURN]), (0, rows[:, Col.SIDE_TILT]), (2, -rows[:, Col.FORWARD_TILT]))
    flexion, adduction, rotation, sign = (
        (Col.TRAIL_THIGH, Col.TRAIL_ADDUCTION, Col.TRAIL_ROTATION, 1.0)
        if side == "trail"
        else (Col.LEAD_THIGH, Col.LEAD_ADDUCTION, Col.LEAD_ROTATION, -1.0)
    )
    hip = _turned_about((2, rows[:, flexion]), (0, sign * rows[:, adduction]), (1, sign * rows[:, rotation]))
    thigh = product(pelvis, hip)
    return float(angle_of(product(inverse(thigh[0]), thigh)).max())


def _turned_about(*turns: tuple[int, Floats]) -> Floats:
    """(N, 4) turns about axes, each in the frame that the ones before it gave."""
    return reduce(product, (about(axis, angle) for axis, angle in turns))
