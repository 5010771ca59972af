"""One rep as two pieces, back and down-and-through, and its flaws.

Only pelvis turn is a function of time. Every other channel is a function of the turn, so that slopes against turn, by
which a rep is judged, are the same at every pace. At the top the turn stands still, so a channel is twice continuously
differentiable in time when its two functions of turn agree there in value and slope.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from imufeedback.synth.plan import Channel, Piece
from imufeedback.synth.player import Marks, Shape, si
from imufeedback.synth.profile import Along, Knock, Profile, Spline, Wave


class Flaw(StrEnum):
    """What goes wrong; on the trail side on the way down where nothing else is said."""

    NONE = "none"
    STALL = "stall"
    """The trail thigh angle stops falling, and never comes down to 0."""
    PUSH_BACK = "push-back"
    """The trail side of the pelvis goes backward first: the angle grows by more than 5°, then falls, late."""
    LEG_TURN = "leg-turn"
    """Pelvis and leg turn as one block: the hip joints hardly turn."""
    HIGH_KNEE = "high-knee"
    """The trail knee stays up: the angle falls by about 3° and stays above 15°."""
    BACK_BLOCK = "back-block"
    """Pelvis and legs turn as one block on the way back; from the top on all is well."""
    LATE_LEVEL = "late-level"
    """The hips come level shortly before impact."""
    SITTING = "sitting"
    """Both hips are still flexed at the finish; the trail thigh angle falls all the way, but too little."""
    STIFF_KNEES = "stiff-knees"
    """The trail knee gains no bend and the lead knee loses none: they never cross."""
    KNEE_GIVE = "knee-give"
    """The lead knee straightens early and gives way at impact."""


ONSET_DEG = 4.5
"""Turn after the top over which a slope comes up to its value."""
BLOCK_SHARE = 0.15
"""Hip rotation against pelvis turn in a `leg-turn`, and on the way back in a `back-block`."""
SITTING_SLOPE = -0.16
SITTING_DEG = 16.0
"""More flexion at the top of a `sitting` rep; it loses too little of it."""
GIVE_SLOPE = 0.25
"""Degrees of lead knee flexion for a degree of turn at the impact of a `knee-give`."""
LEAD_KEEPS_TURNING_DEG = 25.0
"""Turn after impact over which the hip rotations come to their end, near 45°."""
SHOCK_HZ, SHOCK_RISE_S, SHOCK_DECAY_S = 60.0, 0.002, 0.015
SHOCK_RAD, FULL_TURN_RAD_S = float(np.deg2rad(0.1)), 7.0
"""Amplitude of the forearm's shock when the pelvis turns this fast at impact; it goes with the square."""


@dataclass(frozen=True, slots=True)
class Swing:
    """The motion of one rep and the instants between its parts."""

    shape: Shape
    flaw: Flaw
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
    pieces: tuple[Piece, Piece]


def make_swing(shape: Shape, flaw: Flaw, address_s: float) -> Swing:
    """One rep that leaves address at `address_s`."""
    shape = _with_flaw(shape, flaw)
    top_s = address_s + shape.timing.back_s
    impact_s = top_s + shape.timing.down_s
    finish_s = impact_s + shape.timing.through_s
    turn = turn_profile(shape, address_s)
    back, down = _functions_of_turn(shape, flaw)
    pieces = (
        Piece(address_s, top_s, _followed(back, turn)),
        Piece(top_s, finish_s, _followed(down, turn) | {Channel.FOREARM_SHOCK: _shock(turn, impact_s)}),
    )
    return Swing(shape, flaw, address_s, top_s, impact_s, finish_s, turn, thigh_profile(shape, flaw), pieces)


def turn_profile(shape: Shape, address_s: float) -> Spline:
    """Pelvis turn (rad) of time: away from rest, one reversal, and on to rest at the finish."""
    marks, timing = _in_si(Channel.TURN, shape.marks[Channel.TURN]), shape.timing
    back, down, through = marks.address - marks.top, marks.impact - marks.top, marks.finish - marks.impact
    # The largest that leave the turn monotone on both sides (see tests): a quick reversal, and speed through impact.
    reversal = min(10 * back / timing.back_s**2, 4 * down / timing.down_s**2)
    speed = min(1.2 * down / timing.down_s, 2.35 * through / timing.through_s)
    top_s = address_s + timing.back_s
    impact_s = top_s + timing.down_s
    return Spline.through(
        [
            (address_s, marks.address),
            (top_s, marks.top, 0.0, reversal),
            (impact_s, marks.impact, speed),
            (impact_s + timing.through_s, marks.finish),
        ]
    )


def thigh_profile(shape: Shape, flaw: Flaw) -> Spline:
    """Trail thigh angle (rad) of pelvis turn (rad), from the top to the finish."""
    turn = shape.marks[Channel.TURN]
    top = _in_si(Channel.TRAIL_FLEXION, shape.marks[Channel.TRAIL_FLEXION]).top
    slopes = [(turn.top + after, slope) for after, slope in _thigh_slopes(shape, flaw)]
    return Spline.from_rates(top, [(float(np.deg2rad(at)), slope) for at, slope in slopes])


def _thigh_slopes(shape: Shape, flaw: Flaw) -> list[tuple[float, float]]:
    """Knots (degrees of turn after the top, dθ/dψ)."""
    turn, thigh = shape.marks[Channel.TURN], shape.marks[Channel.TRAIL_FLEXION]
    end = turn.finish - turn.top
    fall = (thigh.finish - thigh.top) / (end - ONSET_DEG / 2)  # a smooth onset loses half of its stretch
    begin = (0.0, 0.0)
    if flaw is Flaw.STALL:
        at = shape.stall_at * (turn.impact - turn.top)
        return [begin, (ONSET_DEG, fall), (at - 2, fall), (at + 2, 0.0), (at + 40, 0.0), (at + 46, -0.09), (end, -0.09)]
    if flaw is Flaw.PUSH_BACK:
        return [begin, (4.0, 0.45), (14.0, 0.45), (19.0, fall), (end, fall)]
    if flaw is Flaw.SITTING:
        return [begin, (ONSET_DEG, SITTING_SLOPE), (end, SITTING_SLOPE)]
    if flaw is Flaw.HIGH_KNEE:
        return [begin, (ONSET_DEG, -0.24), (13.0, -0.24), (17.0, 0.0), (30.0, -0.01), (end, -0.01)]
    return [begin, (ONSET_DEG, fall), (end, fall)]


def _with_flaw(shape: Shape, flaw: Flaw) -> Shape:
    """What a flaw changes at the marks; the thigh angle itself has its own slopes."""
    marks = dict(shape.marks)
    for channel, values in _CHANGED.get(flaw, {}).items():
        marks[channel] = replace(marks[channel], **values)
    if flaw is Flaw.SITTING:
        trail = marks[Channel.TRAIL_FLEXION]
        marks[Channel.TRAIL_FLEXION] = replace(trail, top=trail.top + SITTING_DEG)
    return replace(shape, marks=marks)


_CHANGED: Mapping[Flaw, Mapping[Channel, Mapping[str, float]]] = {
    Flaw.HIGH_KNEE: {Channel.TRAIL_KNEE: {"impact": 22.0, "finish": 24.0}},
    Flaw.SITTING: {Channel.LEAD_FLEXION: {"impact": 30.0, "finish": 26.0}},
    Flaw.STIFF_KNEES: {
        Channel.TRAIL_KNEE: {"impact": 16.0, "finish": 17.0},
        Channel.LEAD_KNEE: {"impact": 29.0, "finish": 28.0},
    },
    Flaw.KNEE_GIVE: {Channel.LEAD_KNEE: {"impact": 22.0, "finish": 30.0}},
}
"""Degrees at the marks."""


def _functions_of_turn(shape: Shape, flaw: Flaw) -> tuple[dict[Channel, Profile], dict[Channel, Profile]]:
    """The channels but turn as functions of turn (rad), in the backswing and from the top on."""
    turn = _in_si(Channel.TURN, shape.marks[Channel.TURN])
    back: dict[Channel, Profile] = {}
    down: dict[Channel, Profile] = {}
    for channel, marks in (*shape.marks.items(), *shape.arm.items()):
        if channel is not Channel.TURN:
            one = _in_si(channel, marks)
            back[channel] = Spline.through([(turn.top, one.top), (turn.address, one.address)])
            down[channel] = _down(turn, one)
    down[Channel.TRAIL_FLEXION] = thigh_profile(shape, flaw)
    down |= _special(turn, shape, flaw)
    if flaw is Flaw.PUSH_BACK:
        down[Channel.DEPTH] = _pushed_back(turn, _in_si(Channel.DEPTH, shape.marks[Channel.DEPTH]))
    for channel, sign in ((Channel.TRAIL_ROTATION, -1.0), (Channel.LEAD_ROTATION, 1.0)):
        back[channel], down[channel] = _rotation(turn, sign * shape.share, flaw)
    return back, down


def _shock(turn: Spline, impact_s: float) -> Wave:
    """Forearm angle (rad) from the hit: rings out within a few hundredths of a second; nothing to speak of when slow.

    Some 10 g at the wrist of a full swing; chosen, no source.
    """
    speed = float(turn.rate(np.array([impact_s]))[0])
    envelope = Knock(impact_s, SHOCK_RISE_S, SHOCK_DECAY_S)
    return Wave(envelope, SHOCK_HZ, impact_s, SHOCK_RAD * (speed / FULL_TURN_RAD_S) ** 2)


def _down(turn: Marks, one: Marks) -> Spline:
    """Top, impact, finish, without overshoot."""
    before = (one.impact - one.top) / (turn.impact - turn.top)
    after = (one.finish - one.impact) / (turn.finish - turn.impact)
    # Harmonic mean of the secants, 0 at an extreme: Fritsch & Carlson's idea for monotone interpolation.
    slope = 2 * before * after / (before + after) if before * after > 0 else 0.0
    return Spline.through([(turn.top, one.top), (turn.impact, one.impact, slope), (turn.finish, one.finish)])


def _special(turn: Marks, shape: Shape, flaw: Flaw) -> dict[Channel, Profile]:
    """Channels that a flaw leads another way than from mark to mark; functions of turn (rad)."""
    if flaw is Flaw.LATE_LEVEL:
        tilt = _in_si(Channel.SIDE_TILT, shape.marks[Channel.SIDE_TILT])
        late = turn.top + 0.86 * (turn.impact - turn.top)
        knots = [(turn.top, tilt.top), (late, 0.25 * tilt.top), (turn.finish, tilt.finish)]
        rise = (tilt.finish - 0.25 * tilt.top) / (turn.finish - late)
        return {Channel.SIDE_TILT: Spline.through([knots[0], (*knots[1], rise), knots[2]])}
    if flaw is Flaw.KNEE_GIVE:
        knee = _in_si(Channel.LEAD_KNEE, shape.marks[Channel.LEAD_KNEE])
        early = turn.top + 0.7 * (turn.impact - turn.top)
        straight = min(knee.top, knee.impact) - float(np.deg2rad(6.0))
        knots_: list[tuple[float, ...]] = [(turn.top, knee.top), (early, straight)]
        return {
            Channel.LEAD_KNEE: Spline.through(
                [*knots_, (turn.impact, knee.impact, GIVE_SLOPE), (turn.finish, knee.finish)]
            )
        }
    return {}


def _pushed_back(turn: Marks, one: Marks) -> Spline:
    """The pelvis goes 3 cm backward over the first 17° of turn."""
    early = turn.top + float(np.deg2rad(17))
    return Spline.through(
        [(turn.top, one.top), (early, one.top - 0.03), (turn.impact, one.impact), (turn.finish, one.finish)]
    )


def _rotation(turn: Marks, share: float, flaw: Flaw) -> tuple[Spline, Spline]:
    """Hip rotation takes up `share` of the turn, until it comes to its end after impact."""
    block = float(np.copysign(BLOCK_SHARE, share))
    at_top = block if flaw is Flaw.BACK_BLOCK else share
    back = Spline.from_rates(at_top * turn.top, [(turn.top, at_top), (turn.address, at_top)])
    onset, stop = np.deg2rad([ONSET_DEG, LEAD_KEEPS_TURNING_DEG])
    if turn.impact + stop >= turn.finish:  # a small swing ends before
        stop = 0.6 * (turn.finish - turn.impact)
    if flaw is Flaw.LEG_TURN:
        knots = [(turn.top, share), (turn.top + onset, block), (turn.finish, block)]
    else:
        begin = [(turn.top, at_top), (turn.top + onset, share)] if at_top != share else [(turn.top, share)]
        knots = [*begin, (turn.impact, share), (turn.impact + stop, 0.0), (turn.finish, 0.0)]
    return back, Spline.from_rates(at_top * turn.top, knots)


def _followed(functions: Mapping[Channel, Profile], turn: Spline) -> dict[Channel, Profile]:
    followed: dict[Channel, Profile] = {channel: Along(outer, turn) for channel, outer in functions.items()}
    followed[Channel.TURN] = turn
    return followed


def _in_si(channel: Channel, marks: Marks) -> Marks:
    return Marks(*(si(channel, value) for value in (marks.address, marks.top, marks.impact, marks.finish)))
