"""One rep as two pieces, back and down-and-through.

Only pelvis turn is a function of time. Every other channel is a function of the turn, so that slopes against turn, by
which a rep is judged, are the same at every pace. At the top the turn stands still, so a channel is three times
continuously differentiable in time when its two functions of turn agree there in value and slope.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq

from imufeedback.synth.flaws import Amiss, Flaw, given_wrong, on_the_way, with_marks
from imufeedback.synth.legs import Functions, Lean, functions, inputs
from imufeedback.synth.plan import Channel, Piece
from imufeedback.synth.profile import Along, Knock, Profile, Spline, Wave, from_rest_to_rest
from imufeedback.synth.shape import Marks, Shape, in_si

SMOOTHED = 0.06
"""The turn is a mean over this part of the shortest of the three parts of a rep."""
CLUB_S = 0.035
"""From the pelvis' reversal to the club's: 0.03 to 0.05 s, from memory."""
ARM_POINTS = 72
SHOCK_HZ, SHOCK_RISE_S, SHOCK_DECAY_S = 60.0, 0.0024, 0.015
SHOCK_RAD, FULL_TURN_RAD_S = float(np.deg2rad(0.05)), 8.7
"""Amplitude of the forearm's shock when the pelvis has turned this fast on the way down; it goes with the square."""


@dataclass(frozen=True, slots=True)
class Swing:
    """The motion of one rep and the instants between its parts."""

    shape: Shape
    amiss: tuple[Amiss, ...]
    """Its flaws, the cause first."""
    address_s: float
    """The turn leaves address."""
    top_s: float
    impact_s: float
    finish_s: float
    """The turn comes to rest."""
    turn: Spline
    """Of time."""
    thigh: Spline
    """Trail thigh angle in the downswing and after, of turn; its rate is the slope dθ/dψ."""
    pieces: tuple[Piece, ...]
    """Back, and down and through."""
    at_finish: Lean

    @property
    def flaw(self) -> Flaw:
        """The cause."""
        return self.amiss[0].flaw if self.amiss else Flaw.NONE


def make_swing(shape: Shape, flaw: Flaw | Sequence[Amiss], address_s: float) -> Swing:
    """One rep that leaves address at `address_s`."""
    amiss = given_wrong(flaw)
    turn, top_s = turn_profile(shape, address_s)
    shape = _turning_at(shape, float(turn.value(np.array([top_s]))[0]))
    of = made_of(shape, amiss)
    timing = shape.timing
    impact_s = address_s + timing.back_s + timing.down_s
    finish_s = impact_s + timing.through_s
    arm = _arm(shape, address_s, finish_s)
    shock = {Channel.FOREARM_SHOCK: _shock(turn, top_s, impact_s)}
    pieces = (
        Piece(address_s, top_s, _followed(of.back, turn) | arm),
        Piece(top_s, finish_s, _followed(of.down, turn) | arm | shock),
    )
    thigh = of.down[Channel.TRAIL_FLEXION]
    return Swing(shape, amiss, address_s, top_s, impact_s, finish_s, turn, thigh, pieces, of.at_finish)


def made_of(shape: Shape, amiss: Sequence[Amiss]) -> Functions:
    """The channels but turn as functions of turn (rad), with every flaw done where it is done."""
    for one in amiss:
        shape = with_marks(shape, one)
    given = inputs(shape)
    for one in amiss:
        given = on_the_way(given, one, shape.stall_at)
    return functions(given, shape.size)


def turn_profile(shape: Shape, address_s: float) -> tuple[Spline, float]:
    """Pelvis turn (rad) of time: away from rest, one reversal, and on to rest at the finish; and the reversal's
    instant."""
    marks, timing = in_si(Channel.TURN, shape.marks[Channel.TURN]), shape.timing
    half = SMOOTHED * min(timing.back_s, timing.down_s, timing.through_s)
    back_s, through_s = timing.back_s - half, timing.through_s - half
    back, down, through = marks.address - marks.top, marks.impact - marks.top, marks.finish - marks.impact
    # The largest that leave the turn monotone on both sides (see tests): a quick reversal, and speed through impact.
    reversal = min(10 * back / back_s**2, 4 * down / timing.down_s**2)
    speed = min(1.2 * down / timing.down_s, 2.35 * through / through_s)
    top_s = address_s + timing.back_s
    impact_s = top_s + timing.down_s
    knots: list[tuple[float, ...]] = [
        (address_s + half, marks.address),
        (top_s, marks.top, 0.0, reversal),
        (impact_s, marks.impact, speed),
        (impact_s + through_s, marks.finish),
    ]
    knots = _unevenly(knots, shape.uneven)
    begin, end = (address_s - half, marks.address), (impact_s + through_s + 2 * half, marks.finish)
    turn = Spline.through([begin, *knots, end]).smoothed(half)  # at rest, for the mean to begin with
    reversed_s = brentq(lambda t: float(turn.rate(np.array([t]))[0]), top_s - half, top_s + half, xtol=1e-12)
    return turn, float(reversed_s)


def _unevenly(knots: list[tuple[float, ...]], uneven: Sequence[tuple[float, float]]) -> list[tuple[float, ...]]:
    """With a knot in the middle of each part, off from where an even turn is; less so where it would turn back."""
    even = Spline.through(knots)
    out = knots[:1]
    for before, after, (share, quicker) in zip(knots[:-1], knots[1:], uneven, strict=False):
        middle = np.array([(before[0] + after[0]) / 2])
        value, rate, accel = (float(of(middle)[0]) for of in (even.value, even.rate, even.accel))
        way = after[1] - before[1]
        within = np.linspace(before[0], after[0], 200)[1:-1]
        part = 1.0
        while True:
            made = (float(middle[0]), value + part * share * way, rate * (1 + part * quicker), accel)
            if (np.sign(way) * Spline.through([before, made, after]).rate(within)).min() >= 0 or part < 0.05:
                break
            part /= 2
        out += [made, after]
    return out if uneven else knots


def _turning_at(shape: Shape, turn_rad: float) -> Shape:
    """The same with the top where the smoothed turn has it, so that both sets of functions meet there."""
    marks = shape.marks[Channel.TURN]
    return replace(shape, marks={**shape.marks, Channel.TURN: replace(marks, top=float(np.rad2deg(turn_rad)))})


def _arm(shape: Shape, address_s: float, finish_s: float) -> dict[Channel, Profile]:
    """Trunk and lead arm in time: the club's inertia brings them round `CLUB_S` after the pelvis, and to impact with
    it."""
    timing = shape.timing
    late = replace(timing, back_s=timing.back_s + CLUB_S, down_s=timing.down_s - CLUB_S)
    of_time, top_s = turn_profile(replace(shape, timing=late, uneven=()), address_s)
    t = np.linspace(address_s, finish_s, ARM_POINTS)
    turned, down = of_time.value(t), t > top_s
    turn = in_si(Channel.TURN, shape.marks[Channel.TURN])
    values = []
    for channel, marks in shape.arm.items():
        one = in_si(channel, marks)
        back = Spline.through([(turn.top, one.top), (turn.address, one.address)])
        values.append(np.where(down, _down(turn, one).value(turned), back.value(turned)))
    return {**dict(zip(shape.arm, from_rest_to_rest(t, np.stack(values, axis=1)), strict=True))}


def _shock(turn: Spline, top_s: float, impact_s: float) -> Wave:
    """Forearm angle (rad) from the hit: rings out within a few hundredths of a second; nothing to speak of when slow.

    Some 10 g at the wrist of a full swing; chosen, no source. How hard it is goes by the fastest turn on the way down:
    the pelvis has slowed by the time of the hit, the club has not.
    """
    speed = float(turn.rate(np.linspace(top_s, impact_s, 100)).max())
    envelope = Knock(impact_s, SHOCK_RISE_S, SHOCK_DECAY_S)
    return Wave(envelope, SHOCK_HZ, impact_s, SHOCK_RAD * (speed / FULL_TURN_RAD_S) ** 2)


def _down(turn: Marks, one: Marks) -> Spline:
    """Top, impact, finish, without overshoot."""
    before = (one.impact - one.top) / (turn.impact - turn.top)
    after = (one.finish - one.impact) / (turn.finish - turn.impact)
    # Harmonic mean of the secants, 0 at an extreme: Fritsch & Carlson's idea for monotone interpolation.
    slope = 2 * before * after / (before + after) if before * after > 0 else 0.0
    return Spline.through([(turn.top, one.top), (turn.impact, one.impact, slope), (turn.finish, one.finish)])


def _followed(functions: Mapping[Channel, Profile], turn: Spline) -> dict[Channel, Profile]:
    followed: dict[Channel, Profile] = {channel: Along(outer, turn) for channel, outer in functions.items()}
    followed[Channel.TURN] = turn
    return followed
