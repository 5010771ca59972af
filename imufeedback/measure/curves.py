"""Are a golfer's curves those of a body: no jump in the third derivative, nothing quite constant, sides that are no
mirrors?

Looks at the exact angles and accelerations of a plan and at nothing of how they are made.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Bools, Floats
from imufeedback.synth.plan import Channel, MotionPlan
from imufeedback.synth.script import Script

STEP_S = 0.002
CANDIDATES, ROUNDS, PARTS = 60, 8, 8
"""Where the third derivative changes most is looked at ever nearer: each time a quarter of the stretch before."""
JUMP = 0.02
"""A jump is more than this part of the greatest third derivative within `AROUND_S` …"""
AROUND_S = 0.3
LEAST_JUMP = 0.05
"""… and more than that, rad/s³ or m/s³."""
STILL_S, STILL_RATE = 0.25, 1e-6
"""A segment that is slower (rad/s and m/s) for so long is quite still."""
CONSTANT_RAD, TURNS_RAD = float(np.deg2rad(2e-4)), float(np.deg2rad(1.0))
"""An angle that changes by less in `STILL_S`, while the pelvis turns by more than the other, is constant."""
MIRROR_S, MIRROR_LEAST_RAD, MIRROR = 1.0, float(np.deg2rad(3.0)), 0.0005
"""In so long an angle that changes by more than the second mirrors the other side's when their sum or difference
changes by less than this part of it."""
SIDES = (
    (Channel.LEAD_FLEXION, Channel.TRAIL_FLEXION),
    (Channel.LEAD_ADDUCTION, Channel.TRAIL_ADDUCTION),
    (Channel.LEAD_ROTATION, Channel.TRAIL_ROTATION),
    (Channel.LEAD_KNEE, Channel.TRAIL_KNEE),
)
ANGLES = (Channel.TURN, Channel.SIDE_TILT, Channel.FORWARD_TILT, *(one for pair in SIDES for one in pair))


@dataclass(frozen=True, slots=True)
class Odd:
    """What no body does: instants (s) and what."""

    jumps: list[tuple[float, Channel]]
    constant: list[tuple[float, str]]
    mirrors: list[tuple[float, Channel]]


def odd(script: Script) -> Odd:
    """Of a whole session, calibration included."""
    plan = script.golfer.plan
    return Odd(
        list(_jumps(plan)),
        [*_still(script), *_constant(script)],
        [one for pair in SIDES for one in _mirrors(plan, pair)],
    )


def _jumps(plan: MotionPlan) -> Iterator[tuple[float, Channel]]:
    t = np.arange(0.0, plan.duration_s, STEP_S)
    reach = round(AROUND_S / STEP_S)
    for channel, course in plan.courses(t).items():
        jerk = np.abs(np.diff(course.accel)) / STEP_S
        change = np.abs(np.diff(course.accel, n=2)) / STEP_S
        most = np.argsort(change)[-CANDIDATES:] + 1
        around = np.array([jerk[max(k - reach, 0) : k + reach].max() for k in most])
        at, jump = _nearer(plan, channel, t[most])
        for k in np.flatnonzero(jump > np.maximum(JUMP * around, LEAST_JUMP)):
            yield float(at[k]), channel


def _nearer(plan: MotionPlan, channel: Channel, at: Floats) -> tuple[Floats, Floats]:
    """Where near these instants (K,) the third derivative changes most within a microsecond, and by how much."""
    half, jump = STEP_S, np.zeros(len(at))
    rows = np.arange(len(at))
    for _ in range(ROUNDS):
        t = at[:, None] + half * np.linspace(-1.0, 1.0, PARTS + 1)
        accel = plan.courses(t.ravel(), (channel,))[channel].accel.reshape(t.shape)
        change = np.abs(np.diff(accel, n=2, axis=1)) / (2 * half / PARTS)
        which = np.argmax(change, axis=1)
        at, jump = t[rows, which + 1], change[rows, which]
        half *= 2 / PARTS
    return at, jump


def _still(script: Script) -> Iterator[tuple[float, str]]:
    """Segments that do not move at all, in a pause or not."""
    t = np.arange(0.1, script.duration_s - 0.1, 0.01)
    for segment, frame in script.golfer.pose(t).frames.items():
        slow = np.abs(np.hstack([frame.gyr_rad_s, frame.velocity_m_s])).max(axis=1) < STILL_RATE
        yield from ((begin_s, str(segment)) for begin_s in _lasting(t, slow, STILL_S))


def _constant(script: Script) -> Iterator[tuple[float, str]]:
    """Angles that stand still while the pelvis turns in a rep."""
    for rep in script.truth.reps:
        t = np.arange(rep.address_s, rep.finish_s, 0.01)
        courses, count = script.golfer.plan.courses(t, ANGLES), round(STILL_S / 0.01)
        turns = _ranges(courses[Channel.TURN].value, count) > TURNS_RAD
        for channel in ANGLES:
            for begin in np.flatnonzero(turns & (_ranges(courses[channel].value, count) < CONSTANT_RAD))[::count]:
                yield float(t[begin]), str(channel)


def _mirrors(plan: MotionPlan, sides: tuple[Channel, Channel]) -> Iterator[tuple[float, Channel]]:
    t = np.arange(0.0, plan.duration_s, 0.01)
    courses, count = plan.courses(t, sides), round(MIRROR_S / 0.01)
    lead, trail = (courses[one].value for one in sides)
    moved = _ranges(lead, count)
    alike = np.minimum(_ranges(lead + trail, count), _ranges(lead - trail, count))
    for begin in np.flatnonzero((moved > MIRROR_LEAST_RAD) & (alike < MIRROR * moved))[::count]:
        yield float(t[begin]), sides[0]


def _ranges(values: Floats, count: int) -> Floats:
    """Of each window of so many values."""
    out: Floats = np.ptp(np.lib.stride_tricks.sliding_window_view(values, count), axis=1)
    return out


def _lasting(t: Floats, holds: Bools, seconds: float) -> list[float]:
    edges = np.diff(np.concatenate([[0], holds.astype(np.int8), [0]]))
    begins, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1
    return [float(t[a]) for a, b in zip(begins, ends, strict=True) if t[b] - t[a] >= seconds]
