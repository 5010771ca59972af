"""Hand-made reps: pelvis turn as a function of time, everything else as a function of turn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

import numpy as np

from imufeedback.records import Angles, Floats, Hand, JointAngles, PelvisAngles, Side, Zeroed, frozen

HZ = 200.0
Curve = Callable[[Floats], Floats]
Part = TypeVar("Part", JointAngles, PelvisAngles)


def ramp(*points: tuple[float, float]) -> Curve:
    """Straight pieces through (turn, value) in degrees."""
    x, y = np.array(points, dtype=float).T
    return lambda turn: np.interp(turn, x, y)


FALLING = ramp((-42, 23), (42, 3), (85, -6))
"""Trail thigh angle that falls from the top to the finish."""


@dataclass(frozen=True)
class Course:
    """Turn (degrees) at N instants, with its rate (degrees/s)."""

    t_s: Floats
    turn: Floats
    rate: Floats


def course(points: Sequence[tuple[float, float]], *, begin_s: float = 0.0, hz: float = HZ) -> Course:
    """Rest-to-rest moves (quintic smoothsteps) through (seconds, turn in degrees)."""
    at, turn = np.array(points, dtype=float).T
    t = np.arange(0.0, at[-1], 1 / hz)
    piece = np.clip(np.searchsorted(at, t, side="right") - 1, 0, len(at) - 2)
    length = np.diff(at)[piece]
    u = (t - at[piece]) / length
    step = np.diff(turn)[piece]
    value = turn[piece] + step * (10 * u**3 - 15 * u**4 + 6 * u**5)
    rate = step * (30 * u**2 - 60 * u**3 + 30 * u**4) / length
    return Course(begin_s + t, value, rate)


SWING = [(0, 0), (0.5, 0), (1.5, -42), (2.5, 85), (3.5, 85)]
"""Half a second of address, one of backswing, one down and through, one of finish."""


def slowed(points: Sequence[tuple[float, float]], factor: float) -> list[tuple[float, float]]:
    return [(t * factor, turn) for t, turn in points]


def angles(
    course: Course,
    *,
    hand: Hand = Hand.RIGHT,
    thigh: Curve = FALLING,
    back_thigh: Curve | None = None,
    top_s: float | None = None,
    rotation_share: float = 0.85,
    side_tilt: Curve | None = None,
    sd_deg: float = 1.0,
    ok: Floats | None = None,
    lead_thigh: Curve | None = None,
) -> Angles:
    """Angles of a rep. `thigh` holds from `top_s` on (the furthest turn away), `back_thigh` before it. Where `ok` is
    false the samples of all sensors are missing."""
    n = len(course.t_s)
    turn = course.turn
    top_s = course.t_s[int(np.argmin(turn))] if top_s is None else top_s
    before = back_thigh if back_thigh is not None else ramp((-42, float(thigh(np.array([-42.0]))[0])), (0, 30))
    angle = np.where(course.t_s < top_s, before(turn), thigh(turn))
    h = 1e-4
    slope = np.where(
        course.t_s < top_s,
        (before(turn + h) - before(turn - h)) / (2 * h),
        (thigh(turn + h) - thigh(turn - h)) / (2 * h),
    )
    lead = (lead_thigh or ramp((-42, 36), (42, 15), (85, 8)))(turn)
    tilt = (side_tilt or ramp((-42, -8), (42, 8), (85, 6)))(turn)
    zero = np.zeros(n)
    fine = np.ones(n, dtype=bool) if ok is None else ok
    trail = _joint(course, hand.trail, (angle, zero, -rotation_share * turn), slope * course.rate, sd_deg, fine)
    other = _joint(course, hand.lead, (lead, zero, rotation_share * turn), zero, sd_deg, fine)
    pelvis = PelvisAngles(
        frozen(course.t_s),
        _rad(np.column_stack((turn, tilt, zero + 15)), fine),
        _rad(np.column_stack((course.rate, zero, zero)), fine),
        _rad(np.full((n, 3), sd_deg), fine),
        frozen(np.repeat(fine[:, None], 3, axis=1), np.bool_),
    )
    joints = sorted((trail, other), key=lambda one: one.side)
    return Angles(frozen(course.t_s), pelvis, tuple(joints))


def _joint(course: Course, side: Side, values, flexion_rate, sd_deg: float, ok: Floats) -> JointAngles:
    n = len(course.t_s)
    zero = np.zeros(n)
    return JointAngles(
        "hip",
        side,
        frozen(course.t_s),
        _rad(np.column_stack(values), ok),
        _rad(np.column_stack((flexion_rate, zero, zero)), ok),
        _rad(np.full((n, 3), sd_deg), ok),
        frozen(np.repeat(ok[:, None], 3, axis=1), np.bool_),
    )


def knees(whole: Angles, course: Course) -> Angles:
    """The same with shank sensors: knees that cross half way down."""
    n, made = len(course.t_s), []
    for side, flexion in ((Side.LEFT, 30 - 0.3 * course.turn), (Side.RIGHT, 30 + 0.3 * course.turn)):
        values, fine = (flexion, np.zeros(n), np.zeros(n)), np.ones(n, dtype=bool)
        made.append(replace(_joint(course, side, values, -0.3 * course.rate, 1.0, fine), joint="knee"))
    return Angles(whole.t_s, whole.pelvis, whole.joints + tuple(made))


def spoilt(
    whole: Angles, joint: str, side: Side | None, column: int, from_s: float, to_s: float, *, gap: bool
) -> Angles:
    """The same with one angle that is not known for a while: for want of samples (then the whole joint), or because it
    is not known well enough. `joint` is ``pelvis``, ``hip`` or ``knee``."""
    here = (whole.t_s >= from_s) & (whole.t_s < to_s)
    columns = slice(None) if gap else column

    def without(one: Part) -> Part:
        angle, rate, sd, ok = (getattr(one, name).copy() for name in ("angle_rad", "rate_rad_s", "sd_rad", "ok"))
        rows = np.ix_(here, np.arange(3)[columns].reshape(-1))
        for values in (angle, rate, sd) if gap else (angle, rate):
            values[rows] = np.nan
        ok[rows] = False
        return replace(
            one, angle_rad=frozen(angle), rate_rad_s=frozen(rate), sd_rad=frozen(sd), ok=frozen(ok, np.bool_)
        )

    if joint == "pelvis":
        return replace(whole, pelvis=without(whole.pelvis))
    joints = (without(one) if (one.joint, one.side) == (joint, side) else one for one in whole.joints)
    return replace(whole, joints=tuple(joints))


def _rad(deg: Floats, ok: Floats) -> Floats:
    return frozen(np.where(ok[:, None], np.deg2rad(deg), np.nan))


def cut(whole: Angles, size: int) -> list[Angles]:
    """The same steps in blocks."""
    return [part(whole, slice(k, k + size)) for k in range(0, len(whole.t_s), size)]


def part(whole: Angles, where: slice) -> Angles:
    pelvis = whole.pelvis
    return Angles(
        whole.t_s[where],
        PelvisAngles(
            pelvis.t_s[where],
            pelvis.angle_rad[where],
            pelvis.rate_rad_s[where],
            pelvis.sd_rad[where],
            pelvis.ok[where],
        ),
        tuple(
            JointAngles(
                one.joint,
                one.side,
                one.t_s[where],
                one.angle_rad[where],
                one.rate_rad_s[where],
                one.sd_rad[where],
                one.ok[where],
            )
            for one in whole.joints
        ),
    )


def address(t_s: float = 0.0) -> Zeroed:
    return Zeroed(t_s, "address")
