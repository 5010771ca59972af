"""Angles to phases, live states and reps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from imufeedback.motion import needs
from imufeedback.motion.aim import Aim
from imufeedback.motion.doubts import Doubts
from imufeedback.motion.live import Judge, LiveLimits
from imufeedback.motion.measured import Span, measured
from imufeedback.motion.needs import SWING, Needed, Restarted
from imufeedback.motion.phases import RepLimits, RepProgress, is_odd, is_slow, next_phase
from imufeedback.motion.positions import BEGUN_RAD
from imufeedback.motion.quiet import LEAST, quiet
from imufeedback.motion.track import Col, track
from imufeedback.records import (
    Angles,
    Floats,
    Hand,
    Motion,
    Notice,
    Phase,
    PhaseChanged,
    Rep,
    SegmentMotion,
    StateChanged,
    Zeroed,
)
from imufeedback.stage import Stage

In = Angles | Zeroed | SegmentMotion | Restarted
Out = PhaseChanged | StateChanged | Rep | Notice

ADDRESS_KEEP_S = 1.0
"""Samples of the address that belong to a rep, in front of its backswing."""
ADDRESS_SPARE_S = 0.2
"""Kept beyond that, because it is whole blocks that are thrown away."""
DOWN = (Phase.DOWNSWING, Phase.THROUGH_SWING)
_T, _TURN, _TURN_RATE = int(Col.T), int(Col.TURN), int(Col.TURN_RATE)
_TRAIL_THIGH, _LEAD_THIGH = int(Col.TRAIL_THIGH), int(Col.LEAD_THIGH)
_JUDGED = (_T, _TURN, _TURN_RATE, _TRAIL_THIGH, int(Col.TRAIL_THIGH_RATE))
"""What the live judgement looks at."""


@dataclass
class _State:
    judge: Judge
    live: LiveLimits
    rep: RepLimits
    kind: str
    phase: Phase = Phase.WAITING
    seen: RepProgress = field(default_factory=RepProgress)
    parts: list[Floats] = field(default_factory=list)
    """Track of the present rep, from the address on."""
    address: tuple[float, float] | None = None
    """Thigh angles (trail, lead) at address, from the first step after zeroing."""
    count: int = 0
    arm: list[Floats] = field(default_factory=list)
    """(N, 7) rows ``t, gyr, acc`` of the lead forearm, of the last seconds or of the present rep."""
    doubts: Doubts = field(default_factory=Doubts)
    aim: Aim | None = None
    """Set while the player may have turned at address without a new zero."""


class MotionStage(Stage[In, Out]):
    """Finds reps, their phases and positions, and judges the trail thigh angle live in the downswing.

    A rep in which an angle that it needs was not known is void: it is told with the reason, without features, and from
    the first such step on nothing is judged live.
    """

    _state: _State

    def __init__(
        self, *, hand: Hand, live: LiveLimits, rep: RepLimits, kind: str = "swing", needed: Needed = SWING
    ) -> None:
        self._hand = hand
        self._state = _State(Judge(live), live, rep, kind, doubts=Doubts(needed))

    def use(self, *, live: LiveLimits, rep: RepLimits, kind: str, needed: Needed = SWING) -> None:
        """Other limits from the next downswing on; another kind of rep begins with the next address."""
        s = self._state
        if rep != s.rep or kind != s.kind:
            s.phase, s.parts = Phase.WAITING, []
        s.live, s.rep, s.kind, s.doubts.needed = live, rep, kind, needed

    def feed(self, item: In) -> list[Out]:
        if isinstance(item, Zeroed):
            return self._zeroed(item)
        if isinstance(item, SegmentMotion):
            self._keep_arm(item)
            return []
        s = self._state
        if isinstance(item, Restarted):
            s.doubts.coming.append(item)
            return []
        if s.phase is Phase.WAITING and s.aim is None:
            return []  # only a zero at an address ends that
        try:
            rows = track(item, self._hand)
        except KeyError:
            return []  # without both thighs there is nothing to judge; the pipeline has said so at its start
        if s.phase is Phase.WAITING:
            return self._look_at_aim(rows)
        out: list[Out] = []
        at = 0
        while at < len(rows):
            at += self._pass(rows[at:], out)
            # what is not passed over at once goes step by step, up to the next phase; the first one sets the address
            for row in rows[at : at + (1 if s.address is None else LEAST)].tolist():
                at, phase = at + 1, s.phase
                out += self._step(row)
                if s.phase is phase:
                    continue
                if s.phase in (Phase.WAITING, Phase.FINISH):  # close the rep's track at this step
                    s.parts.append(rows[:at])
                    return out + self._close() + self._look_at_aim(rows[at:])
                break
        s.parts.append(rows)
        self._trim()
        return out

    def _pass(self, rows: Floats, out: list[Out]) -> int:
        """How many steps go at once, for nothing comes of them but live states."""
        s = self._state
        doubted = s.doubts.first is not None
        if len(rows) < LEAST or s.address is None or s.doubts.coming or (doubted and s.phase is Phase.ADDRESS):
            return 0
        thighs = None if doubted and s.phase in DOWN else s.address
        count = quiet(rows, s.phase, s.seen, s.rep, thighs)
        if s.phase in DOWN and not doubted:
            for row in rows[:count, _JUDGED].tolist():
                if s.judge.over:
                    break
                out += self._judge(*row)
        return count

    def _look_at_aim(self, rows: Floats) -> list[Out]:
        s = self._state
        out: list[Out] = []
        for row in rows.tolist() if s.aim is not None else ():
            assert s.aim is not None
            told = s.aim.look(row)
            if told is not None:
                out.append(Notice(row[Col.T], told))
        if s.aim is not None and s.aim.over:
            s.aim = None
        return out

    def _zeroed(self, item: Zeroed) -> list[Out]:
        """Turn counts anew from here, so what was collected against the old zero is void."""
        s = self._state
        s.aim = None
        if item.reason != "address" or s.phase is Phase.BACKSWING:
            return self._zeroed_by_hand(item)
        begins = s.phase is not Phase.ADDRESS
        out: list[Out] = self._missed(s.phase)
        s.doubts.zeroed(item.t_s)
        if s.judge.state is not Motion.IDLE:
            s.judge.state = Motion.IDLE
            out.append(StateChanged(item.t_s, item.t_s, Motion.IDLE, float("nan"), 0.0))
        s.phase, s.parts, s.address = Phase.ADDRESS, [], None
        s.seen = RepProgress(t_s=item.t_s, since_s=item.t_s, furthest_thigh=s.seen.furthest_thigh)
        return [*out, PhaseChanged(item.t_s, Phase.ADDRESS)] if begins else out

    def _zeroed_by_hand(self, item: Zeroed) -> list[Out]:
        """Asked for at address it is a zero like any other; within a swing the angles jump. What the body does by
        itself in a backswing is a trifle: it thinks that the player still stands at the same address."""
        s = self._state
        if item.reason == "asked" and s.phase is Phase.ADDRESS:
            s.doubts.zeroed(item.t_s)
        elif item.reason in ("asked", "undone") and s.phase in (Phase.BACKSWING, *DOWN):
            s.doubts.spoil(item.t_s, needs.ZEROED)
            return self._quiet()
        return []

    def _trim(self) -> None:
        """While the player waits at address only its last moments are kept."""
        s = self._state
        if s.phase is Phase.ADDRESS:
            keep_s = ADDRESS_KEEP_S + ADDRESS_SPARE_S
            while len(s.parts) > 1 and s.parts[-1][-1, Col.T] - s.parts[0][-1, Col.T] > keep_s:
                s.parts.pop(0)

    # ── one step ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _step(self, row: list[float]) -> list[Out]:
        s = self._state
        seen = s.seen
        seen.t_s = row[_T]
        out: list[Out] = []
        if s.doubts.any(row) and s.doubts.look(row, self._hand) and s.phase in DOWN:
            out += self._quiet()
        if math.isnan(row[_TURN]):
            if math.isnan(seen.lost_since_s):
                seen.lost_since_s = seen.t_s
            return out + self._advance()
        seen.lost_since_s = math.nan
        self._look(row)
        out += self._advance()
        if s.phase in DOWN and s.doubts.first is None:
            out += self._judge(*(row[k] for k in _JUDGED))
        return out

    def _quiet(self) -> list[Out]:
        """Nothing is said about an angle that rests on something not known."""
        s = self._state
        if s.judge.state is Motion.IDLE:
            return []
        s.judge.state = Motion.IDLE
        return [StateChanged(s.seen.t_s, s.seen.t_s, Motion.IDLE, float("nan"), s.seen.turn)]

    def _look(self, row: list[float]) -> None:
        s = self._state
        seen = s.seen
        seen.turn, seen.turn_rate = row[_TURN], row[_TURN_RATE]
        if s.phase is Phase.ADDRESS:
            self._look_at_address(row)
        self._look_at_thighs(row)
        if s.phase not in DOWN:
            if seen.turn < seen.furthest_away:
                seen.furthest_away, seen.furthest_s, seen.furthest_thigh = seen.turn, seen.t_s, row[_TRAIL_THIGH]
        else:
            seen.fastest = max(seen.fastest, seen.turn_rate)
            if not is_slow(seen.turn_rate, seen.fastest):
                seen.slow_since_s = math.nan
            elif math.isnan(seen.slow_since_s) and seen.turn - seen.furthest_away > s.rep.min_backswing_rad:
                seen.slow_since_s = seen.t_s

    def _look_at_address(self, row: list[float]) -> None:
        s = self._state
        seen = s.seen
        seen.since_s = seen.t_s
        still = abs(seen.turn) < BEGUN_RAD
        if still and s.doubts.settled(seen.t_s):
            s.doubts.forget()
        if s.rep.min_backswing_rad == 0 and still:  # a rep without a backswing sets off here
            seen.furthest_away, seen.furthest_s = seen.turn, seen.t_s
            seen.furthest_thigh = row[_TRAIL_THIGH]

    def _look_at_thighs(self, row: list[float]) -> None:
        """A thigh that is not known tells nothing; the turn goes on without it. Nor does one that comes back within a
        bar of many degrees: the rep is void already, and a step that was none must not end it unsaid."""
        s = self._state
        trail, lead = row[_TRAIL_THIGH], row[_LEAD_THIGH]
        if math.isnan(trail) or math.isnan(lead) or (s.phase in DOWN and s.doubts.first is not None):
            return
        if s.address is None:
            if s.phase is not Phase.ADDRESS:
                return
            s.address = trail, lead
        trail, lead = trail - s.address[0], lead - s.address[1]
        s.seen.bent, s.seen.behind, s.seen.risen = max(trail, lead), -min(trail, lead), -max(trail, lead)

    def _advance(self) -> list[Out]:
        s = self._state
        to = next_phase(s.phase, s.seen, s.rep)
        if to is s.phase:
            return []
        was, s.phase = s.phase, to
        out: list[Out] = self._missed(was) if to in (Phase.WAITING, Phase.ADDRESS) else []
        if was is Phase.ADDRESS and to is Phase.WAITING and s.seen.turn > 0 and s.address is not None:
            s.aim = Aim(s.address)
        if to is Phase.DOWNSWING:
            s.judge = Judge.from_top(s.live, s.seen.furthest_s, s.seen.furthest_away, s.seen.furthest_thigh)
            s.seen.fastest, s.seen.slow_since_s = 0.0, math.nan
        elif to is Phase.ADDRESS or (to is Phase.BACKSWING and was is Phase.ADDRESS):
            s.seen.furthest_away, s.seen.furthest_s = s.seen.turn, s.seen.t_s
        out.append(PhaseChanged(s.seen.t_s, to))
        return out + (self._quiet() if to in (Phase.WAITING, Phase.BACKSWING, Phase.FINISH) else [])

    def _missed(self, was: Phase) -> list[Out]:
        """A rep that was lost because the turn was not known: it is told as void, for it may have been a whole one."""
        s = self._state
        far = s.seen.furthest_away <= -s.rep.min_backswing_rad
        if not (was in DOWN or (was is Phase.BACKSWING and far)) or is_odd(s.seen):
            return []
        if s.doubts.first is None or not s.doubts.lost_turn:
            return []
        rep = Rep(s.count, s.kind, s.seen.since_s, s.seen.t_s, {}, (), {}, s.doubts.first[1])
        s.count += 1
        s.doubts.forget()
        return [rep]

    def _judge(self, t_s: float, turn: float, turn_rate: float, thigh: float, thigh_rate: float) -> list[Out]:
        judge = self._state.judge
        onset_s = judge.step(t_s, turn, turn_rate, thigh, thigh_rate)
        return [] if onset_s is None else [StateChanged(t_s, onset_s, judge.state, thigh, turn)]

    # ── the end of a rep ─────────────────────────────────────────────────────────────────────────────────────────

    def _close(self) -> list[Out]:
        s = self._state
        rows = np.concatenate(s.parts)
        rows = rows[rows[:, Col.T] >= s.seen.since_s - ADDRESS_KEEP_S]
        finished = s.phase is Phase.FINISH
        s.phase, s.parts = Phase.WAITING, []
        if not finished:
            return []
        seen = s.seen
        span = Span(seen.furthest_s, seen.t_s if math.isnan(seen.slow_since_s) else seen.slow_since_s)
        rep = measured(rows, span, s.doubts, s.live, s.rep, s.arm, self._hand)
        rep = replace(rep, index=s.count, kind=s.kind)
        s.count += 1
        return [rep, PhaseChanged(s.seen.t_s, Phase.WAITING)]

    def _keep_arm(self, felt: SegmentMotion) -> None:
        s = self._state
        s.arm.append(np.column_stack((felt.t_s, felt.gyr_rad_s, felt.acc_m_s2))[felt.ok])
        if s.phase in (Phase.WAITING, Phase.ADDRESS):
            while len(s.arm) > 1 and _old(s.arm[0], float(felt.t_s[0])):
                s.arm.pop(0)


def _old(arm: Floats, now_s: float) -> bool:
    return not len(arm) or now_s - float(arm[-1, 0]) > ADDRESS_KEEP_S
