"""A rep's channels as functions of pelvis turn: pelvis and feet go as the player has them go, legs follow (`chain`).

Pelvis height is what the standing leg's knee asks for (address both, top trail, then lead), the trail heel what the
trail knee asks for. The way back and the way down are two sets of functions, which agree at the top in value, slope and
curvature.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import TypeAlias

import numpy as np

from imufeedback.records import Floats
from imufeedback.synth import chain
from imufeedback.synth.plan import Channel, Posture
from imufeedback.synth.profile import Spline, splines_through
from imufeedback.synth.rounded import rounded, smoothstep
from imufeedback.synth.shape import STATURE_M, FootShape, Marks, Shape, in_si, si

BACK_POINTS, DOWN_POINTS, BEYOND = 20, 60, 4
"""Of the turn, where the chain is worked out; so many more lie beyond the finish."""
GIVE_END = float(np.deg2rad(40.0))
HEEL_MOST = (0.0, 0.0, float(np.deg2rad(60.0)), float(np.deg2rad(80.0)))
"""A trail heel goes up no further at the marks."""
STANDS = 0.9985
"""A leg that is longer than this part of its length does not stand."""
STEP = 1e-3
STRAIGHT_M = (chain.THIGH + chain.SHANK + chain.ANKLE_UP) * STATURE_M
"""Height of the hip centres in quiet standing."""


class Input(StrEnum):
    """What the chain is given; radians, and metres of a player of `STATURE_M`."""

    SIDE = "side"
    FORWARD = "forward"
    SWAY = "sway"
    DEPTH = "depth"
    HEIGHT = "height"
    LEAD_HEEL = "lead_heel"
    TRAIL_HEEL = "trail_heel"
    LEAD_PIVOT = "lead_pivot"
    TRAIL_PIVOT = "trail_pivot"
    LEAD_MORE = "lead_more"
    """What the leg goes along with the turn beyond its give …"""
    TRAIL_MORE = "trail_more"


ON_THE_WAY = {Input.FORWARD: ((0.14, 0.5), (0.5, 1.0)), Input.TRAIL_HEEL: ((0.5, 0.13),)}
"""(part of the turn from top to impact, part of the change): the pelvis stands up early, the heel rises late. Fitted so
that the trail thigh angle of the typical player falls about evenly."""

Knots: TypeAlias = tuple[tuple[float, float], ...]
"""(turn, value)."""


@dataclass(frozen=True, slots=True)
class InputCourse:
    """One input from the top on, over the turn."""

    knots: Knots
    lag: Knots | None = None
    """It is where it would be so much turn later (less than 0: earlier) …"""
    more: tuple[Knots, ...] = ()
    """… and that comes on top."""

    def at(self, turn: Floats) -> Floats:
        when = turn if self.lag is None else turn + rounded(self.lag, turn)
        return np.asarray(sum((rounded(one, turn) for one in self.more), rounded(self.knots, when)))


@dataclass(frozen=True, slots=True)
class Inputs:
    """What the chain is given, as functions of turn (rad)."""

    turn: Marks
    back: Mapping[Input, tuple[float, float]]
    """At address and at the top; a smoothstep of turn between."""
    down: Mapping[Input, InputCourse]
    lead: chain.Foot
    trail: chain.Foot


@dataclass(frozen=True, slots=True)
class Lean:
    """What the channels do when the pelvis moves a little from where it is over feet that stay, for one radian of turn,
    side tilt and forward tilt, and one metre of sway and depth (of a player of `STATURE_M`)."""

    by: Mapping[Channel, Mapping[Channel, float]]

    def moved(self, **little: float) -> dict[Channel, float]:
        """Changes of the channels; names and sizes of what moves."""
        out: dict[Channel, float] = {}
        for name, size in little.items():
            for channel, change in self.by[Channel(name)].items():
                out[channel] = out.get(channel, 0.0) + size * change
        return out


LEANS = {
    Channel.SIDE_TILT: Input.SIDE,
    Channel.FORWARD_TILT: Input.FORWARD,
    Channel.SWAY: Input.SWAY,
    Channel.DEPTH: Input.DEPTH,
}


@dataclass(frozen=True, slots=True)
class Functions:
    """Channels as functions of turn (rad)."""

    back: Mapping[Channel, Spline]
    down: Mapping[Channel, Spline]
    stands: bool
    """Both legs reach the ground all along."""
    at_finish: Lean


def inputs(shape: Shape) -> Inputs:
    """Solved at the marks, so that the knees are bent there as the player has them."""
    lead, trail = _foot(shape, chain.LEAD, shape.lead), _foot(shape, chain.TRAIL, shape.trail)
    rad = {one: in_si(one, marks) for one, marks in shape.marks.items()}
    pivots = {side: _row(in_si(Channel.TURN, of.pivot)) for side, of in _feet(shape)}
    knees = {chain.LEAD: _row(rad[Channel.LEAD_KNEE]), chain.TRAIL: _row(rad[Channel.TRAIL_KNEE])}
    pelvis = _at_marks(shape, np.zeros((1, 4)))
    by_lead = chain.height_m(pelvis, lead, pivots[chain.LEAD], knees[chain.LEAD])[0]
    by_trail = chain.height_m(pelvis, trail, pivots[chain.TRAIL], knees[chain.TRAIL])[0]
    height = np.array([(by_lead[0] + by_trail[0]) / 2, by_trail[1], by_lead[2], by_lead[3]])
    stood = _at_marks(shape, height[None, :])
    heel = chain.heel(stood, trail, pivots[chain.TRAIL], knees[chain.TRAIL], HEEL_MOST)[0]
    lead_heel = float(np.deg2rad(shape.lead.heel_top))
    values = {
        Input.SIDE: rad[Channel.SIDE_TILT],
        Input.FORWARD: rad[Channel.FORWARD_TILT],
        Input.SWAY: rad[Channel.SWAY],
        Input.DEPTH: rad[Channel.DEPTH],
        Input.HEIGHT: Marks(*height.tolist()),
        Input.LEAD_HEEL: Marks(0.0, lead_heel, 0.0, 0.0),
        Input.TRAIL_HEEL: Marks(*heel.tolist()),
        Input.LEAD_PIVOT: in_si(Channel.TURN, shape.lead.pivot),
        Input.TRAIL_PIVOT: in_si(Channel.TURN, shape.trail.pivot),
        Input.LEAD_MORE: Marks(0.0, 0.0, 0.0, 0.0),
        Input.TRAIL_MORE: Marks(0.0, 0.0, 0.0, 0.0),
    }
    turn = rad[Channel.TURN]
    return Inputs(
        turn=turn,
        back={one: (marks.address, marks.top) for one, marks in values.items()},
        down={one: _course(turn, marks, ON_THE_WAY.get(one, ())) for one, marks in values.items()},
        lead=lead,
        trail=trail,
    )


def address(shape: Shape) -> Posture:
    """The same for every rep of a player, so that zeroing has one truth."""
    arm = {one: si(one, marks.address) for one, marks in shape.arm.items()}
    return dict(zip(_OUT, _at_address(inputs(shape), shape.size), strict=True)) | arm


def lean_at_address(shape: Shape) -> Lean:
    given = inputs(shape)
    return _lean(given, given.turn.address, {one: value[0] for one, value in given.back.items()}, shape.size)


def _lean(given: Inputs, turn: float, values: Mapping[Input, float], size: float) -> Lean:
    """Row by row: as it is, then one step of everything that can move."""
    count = 2 + len(LEANS)
    rows = {one: np.full(count, value) for one, value in values.items()}
    for k, one in enumerate(LEANS.values()):
        rows[one][2 + k] += STEP
    turns = np.full(count, turn)
    turns[1] += STEP
    channels, _ = _channels(given, turns, rows, size)
    slopes = (channels[1:] - channels[0]) / STEP
    by = {
        name: dict(zip(_OUT, slope.tolist(), strict=True))
        for name, slope in zip((Channel.TURN, *LEANS), slopes, strict=True)
    }
    by[Channel.TURN][Channel.TURN] = 1.0
    return Lean(by)


def _at_address(given: Inputs, size: float) -> list[float]:
    values = {one: np.array([value[0]]) for one, value in given.back.items()}
    channels, _ = _channels(given, np.array([given.turn.address]), values, size)
    at: list[float] = channels[0].tolist()
    return at


def squared(shape: Shape) -> Shape:
    """The same player with the torsion between feet and knees that makes both hips' rotation 0 at address: it counts
    from there."""
    pelvis = _at_marks(shape, inputs(shape).back[Input.HEIGHT][0] + np.zeros((1, 4)))  # whatever the torsion is
    turned = {side: _turned_to_0(shape, side, of, pelvis) for side, of in _feet(shape)}
    return replace(shape, lead=turned[chain.LEAD], trail=turned[chain.TRAIL])


def _turned_to_0(shape: Shape, side: float, of: FootShape, pelvis: chain.Pelvis) -> FootShape:
    def rotation(torsion: float) -> float:
        made = _foot(shape, side, replace(of, torsion=torsion))
        return float(chain.leg(pelvis, made, np.zeros((1, 1)), np.zeros((1, 1))).rotation[0, 0])

    torsion = of.torsion
    for _ in range(4):  # nearly straight: Newton's method is done soon
        here, there = rotation(torsion), rotation(torsion + 0.1)
        torsion -= 0.1 * here / (there - here)
    return replace(of, torsion=torsion)


def _foot(shape: Shape, side: float, of: FootShape) -> chain.Foot:
    values = (STATURE_M, shape.stance_m, *np.deg2rad([of.flare, of.torsion]).tolist(), of.give, GIVE_END)
    return chain.Foot(side, *(np.full((1, 1), one) for one in values))


def functions(given: Inputs, size: float = 1.0) -> Functions:
    """`size` is the stature over `STATURE_M`."""
    turn = given.turn
    here = STEP * np.arange(-1, 2, dtype=np.float64)
    at_top = {one: np.full(3, value[1]) for one, value in given.back.items()}
    top, _ = _channels(given, np.add(turn.top, here), at_top, size)
    at_address = {one: np.full(3, value[0]) for one, value in given.back.items()}
    address, _ = _channels(given, np.add(turn.address, here), at_address, size)
    back_turn = np.linspace(turn.top, turn.address, BACK_POINTS)
    moved = smoothstep((back_turn - turn.address) / (turn.top - turn.address))
    back, reach_back = _channels(
        given, back_turn, {one: (1 - moved) * a + moved * b for one, (a, b) in given.back.items()}, size
    )
    down_turn, down, reach_down = _down(given, size)
    nothing, last = np.zeros(len(_OUT)), np.array([turn.finish])
    return Functions(
        dict(zip(_OUT, splines_through(back_turn, back, _ends(top), _ends(address)), strict=True)),
        dict(zip(_OUT, splines_through(down_turn, down, _ends(top), [(3, nothing), (4, nothing)]), strict=True)),
        max(float(reach_back.max()), reach_down) < STANDS,
        _lean(given, turn.finish, {one: float(course.at(last)[0]) for one, course in given.down.items()}, size),
    )


@dataclass(frozen=True, slots=True)
class WayDown:
    """What makes a rep a good one, over the turn from the top to the finish; rad."""

    turn: Floats
    trail_thigh: Floats
    lead_knee: Floats
    address_thigh: float
    stands: bool


def on_the_way_down(given: Inputs) -> WayDown:
    """Cheaper than all functions."""
    turn, channels, reach = _down(given, 1.0)
    thigh, knee = _OUT.index(Channel.TRAIL_FLEXION), _OUT.index(Channel.LEAD_KNEE)
    here = slice(None, DOWN_POINTS)
    return WayDown(
        turn[here], channels[here, thigh], channels[here, knee], _at_address(given, 1.0)[thigh], reach < STANDS
    )


def _down(given: Inputs, size: float) -> tuple[Floats, Floats, float]:
    """Some way on behind the finish, so that it is no end of a spline."""
    step = (given.turn.finish - given.turn.top) / (DOWN_POINTS - 1)
    turn: Floats = np.linspace(given.turn.top, given.turn.finish + BEYOND * step, DOWN_POINTS + BEYOND)
    channels, reach = _channels(given, turn, {one: course.at(turn) for one, course in given.down.items()}, size)
    return turn, channels, float(reach[:DOWN_POINTS].max())


_OUT = (
    Channel.SIDE_TILT, Channel.FORWARD_TILT, Channel.SWAY, Channel.DEPTH, Channel.HEIGHT,
    Channel.LEAD_FLEXION, Channel.LEAD_ADDUCTION, Channel.LEAD_ROTATION, Channel.LEAD_KNEE,
    Channel.TRAIL_FLEXION, Channel.TRAIL_ADDUCTION, Channel.TRAIL_ROTATION, Channel.TRAIL_KNEE,
)  # fmt: skip


def _channels(given: Inputs, turn: Floats, values: Mapping[Input, Floats], size: float) -> tuple[Floats, Floats]:
    """(T, C) channels at some turns, and (T,) how far a leg is stretched."""
    row = {one: value[None, :] for one, value in values.items()}
    pelvis = chain.Pelvis(
        turn[None, :], row[Input.SIDE], row[Input.FORWARD], row[Input.DEPTH], row[Input.HEIGHT], row[Input.SWAY]
    )
    lead = chain.leg(pelvis, given.lead, row[Input.LEAD_HEEL], row[Input.LEAD_PIVOT], row[Input.LEAD_MORE])
    trail = chain.leg(pelvis, given.trail, row[Input.TRAIL_HEEL], row[Input.TRAIL_PIVOT], row[Input.TRAIL_MORE])
    height = values[Input.HEIGHT] - STRAIGHT_M
    legs = (part[0] for leg in (lead, trail) for part in (leg.flexion, leg.adduction, leg.rotation, leg.knee))
    out = np.stack(
        [
            values[Input.SIDE], values[Input.FORWARD],
            size * values[Input.SWAY], size * values[Input.DEPTH], size * height, *legs,
        ],
        axis=1,
    )  # fmt: skip
    return out, np.maximum(lead.reach, trail.reach)[0]


def _ends(around: Floats) -> list[tuple[int, Floats]]:
    """Slope and curvature of every channel where the inputs rest and only the turn goes on."""
    return [(1, (around[2] - around[0]) / (2 * STEP)), (2, (around[2] - 2 * around[1] + around[0]) / STEP**2)]


def _course(turn: Marks, value: Marks, between: Sequence[tuple[float, float]]) -> InputCourse:
    made = ((turn.top + a * (turn.impact - turn.top), value.top + b * (value.impact - value.top)) for a, b in between)
    return InputCourse(((turn.top, value.top), *made, (turn.impact, value.impact), (turn.finish, value.finish)))


def _at_marks(shape: Shape, height: Floats) -> chain.Pelvis:
    turn, side, forward, depth, sway = (
        _row(in_si(one, shape.marks[one]))
        for one in (Channel.TURN, Channel.SIDE_TILT, Channel.FORWARD_TILT, Channel.DEPTH, Channel.SWAY)
    )
    return chain.Pelvis(turn, side, forward, depth, height, sway)


def _feet(shape: Shape) -> tuple[tuple[float, FootShape], tuple[float, FootShape]]:
    return (chain.LEAD, shape.lead), (chain.TRAIL, shape.trail)


def _row(marks: Marks) -> Floats:
    return np.array([[marks.address, marks.top, marks.impact, marks.finish]])
