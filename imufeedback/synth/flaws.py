"""What goes wrong in a rep, done where it is done: by the pelvis, the knees, the heels and the give of the legs.

No angle of a hip is touched: what a flaw does to it follows through the chain (`legs`). `size` 1 is gross, 0 is none.
How large each is: chosen, so that a gross one does what its words say to the typical player.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np

from imufeedback.synth import chain
from imufeedback.synth.legs import Input, InputCourse, Inputs, Knots
from imufeedback.synth.plan import Channel
from imufeedback.synth.shape import Marks, Shape


class Flaw(StrEnum):
    """What goes wrong; on the trail side on the way down where nothing else is said."""

    NONE = "none"
    STALL = "stall"
    """The pelvis bends forward again instead of standing up: the trail thigh angle stops falling, and never comes down
    to 0."""
    PUSH_BACK = "push-back"
    """The trail side of the pelvis goes backward first and bends: the angle grows by more than 4°, then falls, late."""
    LEG_TURN = "leg-turn"
    """Pelvis and legs turn as one block: knees and feet give nearly all of the turn, the hip joints hardly turn."""
    HIGH_KNEE = "high-knee"
    """The trail heel comes up early and the knee stays up: the angle stops falling and stays high."""
    BACK_BLOCK = "back-block"
    """Pelvis and legs turn as one block on the way back; from the top on all is well."""
    LATE_LEVEL = "late-level"
    """The hips come level shortly before impact."""
    SITTING = "sitting"
    """Knees and pelvis sink on the way back and never rise: both hips are still flexed at the finish; the trail thigh
    angle falls all the way, but too little."""
    STIFF_KNEES = "stiff-knees"
    """The trail knee gains no bend and the lead knee loses none: they never cross."""
    KNEE_GIVE = "knee-give"
    """The lead knee straightens early and gives way at impact."""


@dataclass(frozen=True, slots=True)
class Amiss:
    """One flaw of a rep."""

    flaw: Flaw
    size: float = 1.0
    """0 is none, 1 gross."""
    onset: float | None = None
    """Where a `stall` begins, as a part of the turn from top to impact; left out, where the player's stalls do."""
    lasts_deg: float | None = None
    """Turn over which a `stall` lasts; left out, to the finish."""


def given_wrong(flaw: Flaw | Sequence[Amiss]) -> tuple[Amiss, ...]:
    """The flaws of one rep, the cause first; a flaw by its name is a gross one, and `Flaw.NONE` is none."""
    if isinstance(flaw, Flaw):
        return () if flaw is Flaw.NONE else (Amiss(flaw),)
    return tuple(flaw)


def with_marks(shape: Shape, amiss: Amiss) -> Shape:
    """What the flaw changes at the marks, before the chain is solved."""
    marks = dict(shape.marks)
    for channel, more in _AT_MARKS.get(amiss.flaw, {}).items():
        marks[channel] = Marks(*(a + amiss.size * b for a, b in zip(_four(marks[channel]), _four(more), strict=True)))
    return replace(shape, marks=marks)


def on_the_way(given: Inputs, amiss: Amiss, stall_at: float) -> Inputs:
    """What the flaw changes between the marks."""
    change = _ON_THE_WAY.get(amiss.flaw)
    return given if change is None else change(given, amiss, stall_at)


_AT_MARKS: Mapping[Flaw, Mapping[Channel, Marks]] = {
    Flaw.STALL: {Channel.SWAY: Marks(0, 0, -0.015, -0.03)},
    Flaw.HIGH_KNEE: {
        Channel.FORWARD_TILT: Marks(0, 0, 2, 14),
        Channel.SWAY: Marks(0, 0, -0.02, -0.05),
        Channel.DEPTH: Marks(0, 0, 0, -0.02),
    },
    Flaw.SITTING: {
        Channel.FORWARD_TILT: Marks(0, 13, 16, 24),
        Channel.TRAIL_KNEE: Marks(0, 12, 8, 0),
        Channel.LEAD_KNEE: Marks(0, 0, 13, 16),
        Channel.SWAY: Marks(0, 0, -0.01, -0.025),
    },
    Flaw.STIFF_KNEES: {
        Channel.LEAD_KNEE: Marks(0, 0, 16, 17),
        Channel.TRAIL_KNEE: Marks(0, 0, -17, -16),
        Channel.SIDE_TILT: Marks(0, 0, -4, -2),
    },
    Flaw.KNEE_GIVE: {Channel.LEAD_KNEE: Marks(0, 0, 2, 6), Channel.SWAY: Marks(0, 0, 0.012, 0.02)},
}
"""Degrees and metres that come on top."""


def _stall(given: Inputs, amiss: Amiss, stall_at: float) -> Inputs:
    turn = given.turn
    begin = turn.top + (stall_at if amiss.onset is None else amiss.onset) * (turn.impact - turn.top)
    left = turn.finish - begin
    lasts = left if amiss.lasts_deg is None else min(float(np.deg2rad(amiss.lasts_deg)), left)
    first, rate = min(0.4 * left, lasts / 2), 0.23 * amiss.size
    tips = [(turn.top, 0.0), (begin, 0.0), (begin + first, rate * first)]
    tips.append((begin + lasts, rate * (first + 0.5 * (lasts - first))))
    if lasts < left:
        tips.append((turn.finish, 0.0))
    return _more(given, {Input.FORWARD: tuple(tips)})


def _push_back(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    turn, size = given.turn, amiss.size
    early = turn.top + 0.2 * (turn.impact - turn.top)
    bends, back = size * float(np.deg2rad(9.0)), size * 0.03
    return _more(
        given,
        {
            Input.FORWARD: ((turn.top, 0.0), (early, bends), (turn.impact, 0.7 * bends), (turn.finish, 0.2 * bends)),
            Input.DEPTH: ((turn.top, 0.0), (early, -back), (turn.impact, 0.0), (turn.finish, 0.0)),
        },
    )


def _high_knee(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    turn = given.turn
    early = turn.top + 0.15 * (turn.impact - turn.top)
    up = amiss.size * float(np.deg2rad(30.0))
    return _more(given, {Input.TRAIL_HEEL: ((turn.top, 0.0), (early, 0.0), (turn.impact, up), (turn.finish, 0.0))})


def _leg_turn(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    """The legs go on with the turn from the top, by nearly all that they would not give."""
    turn = given.turn
    more: dict[Input, Knots] = {}
    for name, foot in ((Input.LEAD_MORE, given.lead), (Input.TRAIL_MORE, given.trail)):
        gone = chain.heading(foot, np.array([[turn.top, turn.impact, turn.finish]]), np.zeros((1, 1)))[0]
        missing = (np.array([turn.impact, turn.finish]) - turn.top - (gone[1:] - gone[0])) * amiss.size * BLOCK
        more[name] = ((turn.top, 0.0), (turn.impact, float(missing[0])), (turn.finish, float(missing[1])))
    return _more(given, more)


def _back_block(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    """The legs go with the turn on the way back, and on from there."""
    turn, back, more = given.turn, dict(given.back), {}
    for name, foot in ((Input.LEAD_MORE, given.lead), (Input.TRAIL_MORE, given.trail)):
        gone = chain.heading(foot, np.array([[turn.address, turn.top]]), np.zeros((1, 1)))[0]
        missing = (turn.top - turn.address - float(gone[1] - gone[0])) * amiss.size * BLOCK
        back[name] = (0.0, missing)
        more[name] = InputCourse(((turn.top, missing), (turn.finish, missing)))
    return replace(given, back=back, down={**given.down, **more})


def _late_level(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    turn, (_, top) = given.turn, given.down[Input.SIDE].knots[0]
    late = turn.top + 0.9 * (turn.impact - turn.top)
    usual = float(given.down[Input.SIDE].at(np.array([late]))[0])
    held = amiss.size * (0.15 * top - usual)
    up = amiss.size * float(np.deg2rad(7.0))  # the trail heel must come up, or that leg is too short
    return _more(
        given,
        {
            Input.SIDE: ((turn.top, 0.0), (late, held), (turn.finish, 0.0)),
            Input.TRAIL_HEEL: ((turn.top, 0.0), (late, up), (turn.finish, 0.0)),
        },
    )


def _knee_give(given: Inputs, amiss: Amiss, _: float) -> Inputs:
    """The pelvis comes up early and drops again through impact; the lead knee follows."""
    turn = given.turn
    half = (turn.impact - turn.top) / 2
    before, after = turn.impact - half / 2, min(turn.impact + half / 2, (turn.impact + turn.finish) / 2)
    up, down = amiss.size * KNEE_GIVE_M[0], amiss.size * KNEE_GIVE_M[1]
    return _more(given, {Input.HEIGHT: ((turn.top, 0.0), (before, up), (after, -down), (turn.finish, -down / 2))})


KNEE_GIVE_M = 0.0115, 0.018
"""How far the pelvis comes up and drops."""


BLOCK = 0.65
"""Part that a gross block takes of what the hips would turn."""

_ON_THE_WAY: Mapping[Flaw, Callable[[Inputs, Amiss, float], Inputs]] = {
    Flaw.STALL: _stall,
    Flaw.PUSH_BACK: _push_back,
    Flaw.HIGH_KNEE: _high_knee,
    Flaw.LEG_TURN: _leg_turn,
    Flaw.BACK_BLOCK: _back_block,
    Flaw.LATE_LEVEL: _late_level,
    Flaw.KNEE_GIVE: _knee_give,
}


def _more(given: Inputs, more: Mapping[Input, Knots]) -> Inputs:
    down = dict(given.down)
    for name, knots in more.items():
        down[name] = replace(down[name], more=(*down[name].more, knots))
    return replace(given, down=down)


def _four(marks: Marks) -> tuple[float, float, float, float]:
    return marks.address, marks.top, marks.impact, marks.finish
