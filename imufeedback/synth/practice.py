"""A session of practice: swings, hip turns over a staggered stance, and positions that are held, one after the other.

For lessons and screenings played by the virtual golfer. Everything a player can do wrong in a step is a number of the
act: its pace, a standing leg that turns along, a pelvis that tips, feet side by side, a stop in the wrong place.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats, Hand
from imufeedback.synth.alive import EXACTLY, STIFF, Manner
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.legs import STRAIGHT_M, Lean, address, lean_at_address
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Piece, Posture
from imufeedback.synth.player import InventedPlayer, Pace, make_player, rep_shape, stepped_in
from imufeedback.synth.script import ADDRESS_S, BEND_S, REST_S, Script, Truth, addressed, calibration, to_standing
from imufeedback.synth.swing import Swing, make_swing
from imufeedback.synth.truth import RepTruth, rep_truth

STAGGER_DEG = 26.0
"""Between the thighs, with one foot a step in front. Chosen: a step of 0.4 m with legs of 0.9 m."""
FRONT_SHARE = 0.44
"""Of that in front of the pelvis. Chosen."""
STEP_S, SETTLE_S = 1.0, 1.2
"""Into a stance, and still in it before the first turn."""
RETURN_S = 1.2
TURN_SD, TIP_SD_DEG = 0.04, 0.8
"""From turn to turn of one who is alive: a part of the turn, and degrees. Chosen."""
HESITATES_SHARE = 0.25
"""Of the turns and of the ways to a stop, by one who is alive. Chosen."""
HIP_SHARES = 0.39, 0.22
"""Of the pelvis' turn that lead and trail hip take up on the way to a stop: as in the players of `synth.drawn`."""
OTHER_SHARE = 0.85
"""Of a turn over one leg that the other hip takes up, its heel giving. Chosen."""
FINISH_DEG = 60.0
TALL_DEG = {
    Channel.FORWARD_TILT: 2.0,
    Channel.TRAIL_FLEXION: -6.0,
    Channel.LEAD_FLEXION: 6.0,
    Channel.TRAIL_KNEE: 45.0,
    Channel.LEAD_KNEE: 6.0,
}
"""A finish, as in `synth.player.TYPICAL`."""


@dataclass(frozen=True, slots=True)
class HipTurnMotion:
    """A hip turn over one leg, there and back."""

    side: str
    """``trail`` or ``lead``: the leg in front, that stands."""
    inward_deg: float
    """How far the pelvis turns over it, inward where positive; all of it in that hip when `share` is 1."""
    one_way_s: float = 1.7
    share: float = 1.0
    """Part of the pelvis' turn that the hip takes up; the rest the leg turns along."""
    tip_deg: float = 0.0
    """Side tilt of the pelvis at the furthest turn."""
    stagger_deg: float = STAGGER_DEG


@dataclass(frozen=True, slots=True)
class HalfWayStop:
    """Back, and down to a position that is held; then back to standing. Far round, it is a finish: tall, the trail
    thigh behind."""

    turn_deg: float = 0.0
    side_tilt_deg: float = 0.0
    hold_s: float = 3.4


Act = Flaw | HipTurnMotion | HalfWayStop
"""A flaw stands for one swing with it."""


def make_practice_script(
    acts: Sequence[Act], *, hand: Hand = Hand.RIGHT, pace: Pace = Pace.SLOW, seed: int = 1, alive: bool = False
) -> Script:
    """The calibration movements, then the acts; `pace` is that of the swings. The truth has the swings only. With
    `alive` all of it is done as people do it: it wobbles, goes at an uneven pace, and hesitates now and then."""
    pieces, windows = calibration(hand, seed if alive else None)
    manner = Manner(np.random.default_rng([seed, 31])) if alive else EXACTLY
    made, ready_s = _Maker(make_player(hand, pace, seed), seed, pieces, manner), pieces[-1].end_s
    for act in acts:
        match act:
            case HipTurnMotion():
                made.turn(act)
            case HalfWayStop():
                made.stop(act)
            case Flaw():
                made.swing(act)
    made.stand(None)
    plan = MotionPlan(made.pieces)
    truth = Truth(tuple(made.truths))
    swings = tuple(made.swings)
    return Script(hand, pace, seed, Golfer(made.player, plan), swings, truth, windows, ready_s, plan.duration_s)


class _Maker:
    def __init__(self, player: InventedPlayer, seed: int, pieces: list[Piece], manner: Manner) -> None:
        self.player, self.pieces, self.manner = player, pieces, manner
        self.swings: list[Swing] = []
        self.truths: list[RepTruth] = []
        self._rng = np.random.default_rng([seed, 3])
        self._stance: HipTurnMotion | None = None

    @property
    def _now_s(self) -> float:
        return self.pieces[-1].end_s

    def _add(self, made: Iterable[Piece]) -> None:
        self.pieces += made

    def _go(
        self,
        begin: Posture,
        end: Posture,
        lasts_s: float,
        rests_s: float,
        lean: Lean = STIFF,
        hesitates: bool = False,
    ) -> None:
        there_s = self._now_s + lasts_s
        went = self.manner.go(self._now_s, there_s, begin, end, hesitates)
        self._add([went, self.manner.stay(there_s, there_s + rests_s, end, lean)])

    def _about(self, meant_deg: tuple[float, float], sd_deg: tuple[float, float]) -> tuple[float, float]:
        """Radians; nobody who is alive comes to the same place twice."""
        z = np.zeros(2) if self.manner.rng is None else np.clip(self.manner.rng.standard_normal(2), -2.0, 2.0)
        turn, tip = np.deg2rad(np.array(meant_deg) + z * sd_deg).tolist()
        return turn, tip

    @property
    def _hesitates(self) -> bool:
        return self.manner.rng is not None and bool(self.manner.rng.uniform() < HESITATES_SHARE)

    def stand(self, turn: HipTurnMotion | None) -> None:
        """In the stance of a hip turn, or with the feet side by side."""
        before, now = _stance(self._stance), _stance(turn)
        if before != now and STANDING not in (before, now):  # feet together before the other one goes ahead
            self._go(before, STANDING, STEP_S, 0.2)
            before = STANDING
        if before != now:
            self._go(before, now, STEP_S, SETTLE_S)
        self._stance = turn

    def turn(self, act: HipTurnMotion) -> None:
        self.stand(act)
        stance = _stance(act)
        towards = act.inward_deg if act.side == "lead" else -act.inward_deg
        turn, tip = self._about((towards, act.tip_deg), (TURN_SD * towards, TIP_SD_DEG))
        there = {**stance, Channel.TURN: turn, Channel.SIDE_TILT: tip, **_over_still_thigh(act, turn, tip)}
        self._go(stance, there, act.one_way_s, 0.3, hesitates=self._hesitates)
        self._go(there, stance, act.one_way_s, 1.5 * REST_S)

    def stop(self, act: HalfWayStop) -> None:
        self.stand(None)
        posture = address(self.player.shape)
        turn, tilt = self._about((act.turn_deg, act.side_tilt_deg), (TIP_SD_DEG, TIP_SD_DEG))
        back = {**posture, **_turned(float(np.deg2rad(-30.0)))}
        there = {**posture, **_turned(turn), Channel.SIDE_TILT: tilt}
        if act.turn_deg > FINISH_DEG:
            there |= {channel: float(np.deg2rad(angle)) for channel, angle in TALL_DEG.items()}
        lean = lean_at_address(self.player.shape)
        self._go(STANDING, posture, BEND_S, ADDRESS_S, lean)
        self._go(posture, back, 1.5, 0.1, lean)
        self._go(back, there, 1.5, act.hold_s, lean, self._hesitates)
        self._go(there, STANDING, RETURN_S, 2 * REST_S)

    def swing(self, flaw: Flaw) -> None:
        self.stand(None)
        rng, typical = self.manner.rng, self.player.shape
        shape = rep_shape(typical if rng is None else stepped_in(typical, rng), self._rng)
        self._add([self.manner.go(self._now_s, self._now_s + BEND_S, STANDING, address(shape))])
        start_s = self._now_s
        swing = make_swing(shape, flaw, start_s + ADDRESS_S)
        before, swing = addressed(swing, start_s, self.manner, lean_at_address(shape))
        self._add([before, *swing.pieces, *to_standing(swing, REST_S, self.manner)])
        self.swings.append(swing)
        self.truths.append(rep_truth(len(self.truths), start_s, swing))


def _stance(turn: HipTurnMotion | None) -> Posture:
    if turn is None or not turn.stagger_deg:
        return STANDING
    front, back = _ahead_and_behind(turn)
    trail, lead = (front, back) if turn.side == "trail" else (back, front)
    lower = -(1 - float(np.cos(front))) * STRAIGHT_M
    return {**STANDING, Channel.TRAIL_FLEXION: trail, Channel.LEAD_FLEXION: lead, Channel.HEIGHT: lower}


def _ahead_and_behind(turn: HipTurnMotion) -> tuple[float, float]:
    """Flexion of the front hip and of the other one: the weight is more over the leg in front."""
    stagger = float(np.deg2rad(turn.stagger_deg))
    return FRONT_SHARE * stagger, (FRONT_SHARE - 1) * stagger


def _over_still_thigh(act: HipTurnMotion, turn: float, tip: float) -> Posture:
    """Hip angles that leave the standing thigh where it is in the room, but for what it turns along; the other leg goes
    with the pelvis. The order of turns is that of the sign table."""
    trails = act.side == "trail"
    pelvis = _about(1, turn) @ _about(0, tip)
    hip = pelvis.T @ _about(1, (1 - act.share) * turn) @ _about(2, _ahead_and_behind(act)[0])
    flexion = float(np.arctan2(-hip[0, 1], hip[1, 1]))
    sign = 1.0 if trails else -1.0
    adduction = sign * float(np.arcsin(hip[2, 1]))
    rotation = sign * float(np.arctan2(-hip[2, 0], hip[2, 2]))
    standing = (
        (Channel.TRAIL_FLEXION, Channel.TRAIL_ADDUCTION, Channel.TRAIL_ROTATION)
        if trails
        else (Channel.LEAD_FLEXION, Channel.LEAD_ADDUCTION, Channel.LEAD_ROTATION)
    )
    other = {Channel.LEAD_ROTATION: OTHER_SHARE * turn} if trails else {Channel.TRAIL_ROTATION: -OTHER_SHARE * turn}
    return {**dict(zip(standing, (flexion, adduction, rotation), strict=True)), **other}


def _about(axis: int, angle: float) -> Floats:
    """Rotation matrix about x, y or z."""
    c, s = np.cos(angle), np.sin(angle)
    first, second = ((1, 2), (2, 0), (0, 1))[axis]
    out = np.eye(3)
    out[first, first] = out[second, second] = c
    out[first, second], out[second, first] = -s, s
    return out


def _turned(turn: float) -> Posture:
    lead, trail = HIP_SHARES
    return {Channel.TURN: turn, Channel.LEAD_ROTATION: lead * turn, Channel.TRAIL_ROTATION: -trail * turn}
