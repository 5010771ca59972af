"""A whole session: stand still, calibration movements, then reps and what lies between them; with the truth of every
rep.

Calibration movements: right knee up twice, left knee up twice, two bows with straight legs, each between moments of
standing still; less than 30 s in all.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.alive import EXACTLY, Manner, turning
from imufeedback.synth.between_reps import Between, Busy
from imufeedback.synth.flaws import Amiss, Flaw
from imufeedback.synth.golfer import Golfer
from imufeedback.synth.legs import Lean, address, lean_at_address
from imufeedback.synth.movements import MovementWindows, Performing, Style, Window, performed
from imufeedback.synth.plan import STANDING, Channel, MotionPlan, Piece, Posture, hold, leg, move
from imufeedback.synth.player import Pace, make_player, rep_shape, sized, stepped_in
from imufeedback.synth.swing import Swing, make_swing
from imufeedback.synth.truth import RepTruth, rep_truth

STILL_S = 3.5
LIFT_HIP_RAD, LIFT_KNEE_RAD = np.deg2rad([75.0, 110.0])
"""Heel under the seat: a shank that only hung down would not turn, and its axis could not be found."""
BOW_RAD = float(np.deg2rad(45.0))
BEND_S, ADDRESS_S, HOLD_S, RETURN_S, REST_S = 1.2, 1.8, 1.2, 1.5, 0.6
"""Standing to address, still at address, still at the finish, finish to standing, standing."""


TURN_S = 1.6
"""Of a hip turn, one way."""


@dataclass(frozen=True, slots=True)
class Truth:
    """What really happened."""

    reps: tuple[RepTruth, ...]
    busy: tuple[Busy, ...] = ()
    """What was done between the reps, in order; one is a tuple (kind, start_s, end_s)."""


@dataclass(frozen=True, slots=True)
class Script:
    """A session that can be asked for its pose at any instant (`golfer`)."""

    hand: Hand
    pace: Pace
    seed: int
    golfer: Golfer
    swings: tuple[Swing, ...]
    truth: Truth
    fit_windows: MovementWindows
    ready_s: float
    """The calibration movements are over, with a still moment after them."""
    duration_s: float


def make_script(
    *,
    hand: Hand = Hand.RIGHT,
    pace: Pace = Pace.SLOW,
    flaw: Flaw | Sequence[Flaw | Sequence[Amiss]] = Flaw.NONE,
    reps: int = 5,
    seed: int = 1,
    busy: bool = False,
    rest_s: float = REST_S,
    height_m: float | None = None,
    tempo: float = 1.0,
    tempos: Sequence[float] | None = None,
    sizes: Sequence[float] | None = None,
    alive: bool = False,
) -> Script:
    """A session of `reps` reps; `flaw` is that of every rep, or one for each rep.

    A seed gives one player; the other hand gives its mirror image (the calibration movements begin with the right knee
    for both). With `busy` the player walks up, bends for a ball, sways, stands about and waggles before the reps, and
    faces another way at each. `rest_s` is how long the player stands still after a rep. `height_m` is the stature, else
    it comes from the seed; `tempo` above 1 is quicker, `tempos` are those of the single reps on top of it. `sizes` are
    parts of the whole motion from the address on, for every rep: 0.5 is a half swing (such reps can have no flaw of the
    trail thigh). With `alive` the body is never quite still and no movement like another: the calibration is
    performed as people do (`movements`), the player steps in anew for each rep, waggles before some, sways and
    breathes, and turns at an uneven pace; else all is exact. The motion is worked out only where it is asked for.

    Raises UsageError for a negative number of reps, another number of flaws, tempos or sizes than of reps, or a rest,
    stature or tempo that is not above 0.
    """
    flaws = [flaw] * reps if isinstance(flaw, Flaw) else list(flaw)
    if reps < 0 or len(flaws) != reps:
        raise UsageError(f"{reps} reps and {len(flaws)} flaws", hint="give one flaw, or one for each rep")
    tempos, sizes = [list(one) if one is not None else [1.0] * reps for one in (tempos, sizes)]
    if len(tempos) != reps or len(sizes) != reps or min([*tempos, *sizes], default=1.0) <= 0:
        raise UsageError(f"{reps} reps, tempos {tempos} and sizes {sizes}", hint="give one above 0 for each rep")
    if rest_s <= 0:
        raise UsageError(f"a rest of {rest_s} s", hint="it must be above 0")
    player = make_player(hand, pace, seed, height_m=height_m, tempo=tempo)
    manner = Manner(np.random.default_rng([seed, 31])) if alive else EXACTLY
    pieces, windows = calibration(hand, seed if alive else None)
    ready_s = pieces[-1].end_s
    rng = np.random.default_rng([seed, 3])
    between = Between(seed, busy, alive)
    swings, truths = [], []
    for index, one in enumerate(flaws):
        typical = player.shape if manner.rng is None else stepped_in(player.shape, manner.rng)
        at_address, lean = address(typical), lean_at_address(typical)
        shape = sized(rep_shape(typical, rng), sizes[index])
        shape = replace(shape, timing=shape.timing.scaled(1 / tempos[index]))
        pieces += between.before(index, pieces[-1].end_s)
        bent_s = pieces[-1].end_s + BEND_S
        pieces += between.at_spot([manner.go(pieces[-1].end_s, bent_s, STANDING, at_address)])
        pieces += between.waggle(index, bent_s, at_address, lean)
        start_s = pieces[-1].end_s
        before, swing = addressed(make_swing(shape, one, start_s + ADDRESS_S), start_s, manner, lean)
        pieces += between.at_spot([before, *swing.pieces, *to_standing(swing, rest_s, manner)])
        swings.append(swing)
        truths.append(rep_truth(index, start_s, swing))
    plan, truth = MotionPlan(pieces), Truth(tuple(truths), tuple(between.done))
    return Script(hand, pace, seed, Golfer(player, plan), tuple(swings), truth, windows, ready_s, plan.duration_s)


def make_idle_script(*, hand: Hand = Hand.RIGHT, seed: int = 1, seconds: float = 300.0) -> Script:
    """The calibration movements, and then everything but reps for at least `seconds`: standing about, walking, bending
    for a ball, practice sways; at address waggles, looks at the target, and a little way back and home again."""
    player = make_player(hand, Pace.SLOW, seed)
    pieces, windows = calibration(hand)
    ready_s = pieces[-1].end_s
    between, posture, index = Between(seed, busy=True), address(player.shape), 0
    lean = lean_at_address(player.shape)
    while pieces[-1].end_s < ready_s + seconds:
        pieces += between.before(index, pieces[-1].end_s)
        bent_s = pieces[-1].end_s + BEND_S
        pieces += between.at_spot([move(pieces[-1].end_s, bent_s, STANDING, posture)])
        pieces += between.at_spot([hold(bent_s, bent_s + ADDRESS_S, posture)])
        pieces += between.waggle(index, pieces[-1].end_s, posture, lean)
        pieces += between.at_address(index, pieces[-1].end_s, posture)
        end_s = pieces[-1].end_s
        pieces += between.at_spot([move(end_s, end_s + BEND_S, posture, STANDING)])
        index += 1
    plan = MotionPlan(pieces)
    truth = Truth((), tuple(between.done))
    return Script(hand, Pace.SLOW, seed, Golfer(player, plan), (), truth, windows, ready_s, plan.duration_s)


def make_hip_turn_script(
    *, hand: Hand = Hand.RIGHT, seed: int = 1, turns_deg: Sequence[float] = (30.0, -30.0), share: float = 1.0
) -> Script:
    """The calibration movements, and then slow turns of the pelvis over standing legs, there and back.

    Args:
        turns_deg: every turn, towards the target where positive: the lead hip turns in and the trail hip out.
        share: part of it that the hip joints take up; the rest the legs turn along (1: the thighs stay still).
    """
    player = make_player(hand, Pace.SLOW, seed)
    pieces, windows = calibration(hand)
    ready_s = pieces[-1].end_s
    pieces.append(hold(ready_s, ready_s + 2 * REST_S, STANDING))
    for turn_deg in turns_deg:
        turn = float(np.deg2rad(turn_deg))
        there = {Channel.TURN: turn, Channel.LEAD_ROTATION: share * turn, Channel.TRAIL_ROTATION: -share * turn}
        start_s = pieces[-1].end_s
        pieces += [
            move(start_s, start_s + TURN_S, STANDING, there),
            hold(start_s + TURN_S, start_s + TURN_S + REST_S, there),
            move(start_s + TURN_S + REST_S, start_s + 2 * TURN_S + REST_S, there, STANDING),
            hold(start_s + 2 * TURN_S + REST_S, start_s + 2 * TURN_S + 2.5 * REST_S, STANDING),
        ]
    plan = MotionPlan(pieces)
    return Script(hand, Pace.SLOW, seed, Golfer(player, plan), (), Truth(()), windows, ready_s, plan.duration_s)


def addressed(swing: Swing, start_s: float, manner: Manner, lean: Lean) -> tuple[Piece, Swing]:
    """Address from `start_s` on, and the swing as a body in this manner makes it."""
    before, *made = manner.along(
        [manner.stay(start_s, swing.address_s, address(swing.shape), turning(lean)), *swing.pieces], lean
    )
    return before, replace(swing, pieces=tuple(made))


def to_standing(swing: Swing, rest_s: float, manner: Manner = EXACTLY) -> list[Piece]:
    """Hold the finish, back to standing, a rest."""
    finish = _end_of(swing.pieces[-1])
    held_s = swing.finish_s + HOLD_S
    back_s = held_s + RETURN_S
    return [
        manner.stay(swing.finish_s, held_s, finish, swing.at_finish),
        manner.go(held_s, back_s, finish, STANDING),
        manner.stay(back_s, back_s + rest_s),
    ]


def around(swing: Swing, start_s: float, rest_s: float) -> list[Piece]:
    """Address, the swing and back to standing, exactly."""
    return [
        hold(start_s, swing.address_s, address(swing.shape)),
        *swing.pieces,
        *to_standing(swing, rest_s),
    ]


def _end_of(piece: Piece) -> Posture:
    at = np.array([piece.end_s])
    return {channel: float(profile.value(at)[0]) for channel, profile in piece.profiles.items()}


def calibration(hand: Hand, seed: int | None = None) -> tuple[list[Piece], MovementWindows]:
    """The movements that a session begins with: exact, or as the player with this seed performs them."""
    if seed is not None:
        course = Performing(Style.drawn(seed, hand))
        windows = performed(course)
        return course.pieces, windows
    pieces = [hold(0.0, STILL_S, STANDING)]
    still = (0.3, STILL_S - 0.3)
    lifts = {side: _twice(pieces, _lifted(side, hand), 0.7, 0.1) for side in (Side.RIGHT, Side.LEFT)}
    flex = {Segment.PELVIS: _twice(pieces, _bowed(hand), 1.1, 0.3)}
    for side, window in lifts.items():
        flex |= {Segment.thigh(side): window, Segment.shank(side): window}
    pieces.append(hold(pieces[-1].end_s, pieces[-1].end_s + 1.6, STANDING))
    return pieces, MovementWindows(still, flex)


def _lifted(side: Side, hand: Hand) -> Posture:
    flexion, _, _, knee = leg(side, hand)
    return {flexion: float(LIFT_HIP_RAD), knee: float(LIFT_KNEE_RAD)}


def _bowed(hand: Hand) -> Posture:
    """Forward with straight legs: the thighs stay upright, so both hips bend as far as the pelvis tips."""
    hips = {leg(side, hand)[0]: BOW_RAD for side in Side}
    return {Channel.FORWARD_TILT: BOW_RAD, Channel.DEPTH: -0.06, **hips}


def _twice(pieces: list[Piece], there: Posture, move_s: float, hold_s: float) -> Window:
    """Go there and back twice, with a still moment after each; returns from first to last motion."""
    begin_s = end_s = pieces[-1].end_s
    for _ in range(2):
        t = pieces[-1].end_s
        out, held, end_s = t + move_s, t + move_s + hold_s, t + 2 * move_s + hold_s
        pieces += [move(t, out, STANDING, there), hold(out, held, there), move(held, end_s, there, STANDING)]
        pieces.append(hold(end_s, end_s + 0.4, STANDING))
    return begin_s, end_s
