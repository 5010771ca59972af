"""Drawn reps on the closed chain: turn in time, pelvis and feet along the turn, legs by `chain`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats
from imufeedback.synth import chain
from imufeedback.synth.drawn import Drawn

POINTS = (50, 90, 60)
"""Instants of the way back, down and through."""
TOP, IMPACT = POINTS[0], POINTS[0] + POINTS[1]
HEEL_IMPACT, HEEL_FINISH = float(np.deg2rad(60)), float(np.deg2rad(85))
"""A trail heel goes up no further."""


@dataclass(frozen=True, slots=True)
class RepCourses:
    """(N, T) courses of N reps; radians, seconds. The top is the instant `TOP`, impact `IMPACT`."""

    t_s: Floats
    pelvis: chain.Pelvis
    lead: chain.Leg
    trail: chain.Leg

    @property
    def stands(self) -> np.ndarray:
        """(N,) whether both legs reach the ground all along."""
        reach = np.maximum(self.lead.reach.max(axis=1), self.trail.reach.max(axis=1))
        return np.asarray(reach < 1.02)


Legs = Callable[[chain.Pelvis], tuple[chain.Leg, chain.Leg]]
"""Lead and trail leg under a pelvis."""


def moves(of: Drawn, changed: Callable[[chain.Pelvis, Legs], chain.Pelvis] | None = None) -> RepCourses:
    """Pelvis height is what the standing leg's knee asks for (address both, top trail, then lead), the trail heel what
    the trail knee asks for; the other knee follows. `changed` gives the pelvis another course over the same feet."""
    rad = np.deg2rad
    feet = {
        side: chain.Foot(
            side, of.stature[:, None], of.stance[:, None], rad(flare)[:, None], rad(of.torsion)[:, None],
            give[:, None], rad(of.give_end)[:, None],
        )
        for side, flare, give in (
            (chain.LEAD, of.flare_lead, of.give_lead),
            (chain.TRAIL, of.flare_trail, of.give_trail),
        )
    }  # fmt: skip
    pivots = {chain.LEAD: rad(of.pivot_lead), chain.TRAIL: rad(of.pivot_trail)}

    def stood(mark: int, height: Floats) -> chain.Pelvis:
        turn, side_tilt, forward = (rad(one[:, mark : mark + 1]) for one in (of.turn, of.side, of.forward))
        return chain.Pelvis(
            turn, side_tilt, forward, of.ahead[:, mark : mark + 1], height, of.to_target[:, mark : mark + 1]
        )

    def height(side: float, mark: int, knee: Floats) -> Floats:
        pivot = pivots[side][:, mark : mark + 1]
        return chain.height_m(stood(mark, np.zeros_like(pivot)), feet[side], pivot, rad(knee)[:, None])

    def heel(mark: int, knee: Floats, most: float) -> Floats:
        pivot = pivots[chain.TRAIL][:, mark : mark + 1]
        return chain.heel(stood(mark, heights[mark]), feet[chain.TRAIL], pivot, rad(knee)[:, None], most)

    heights = [
        (height(chain.LEAD, 0, of.knee_address) + height(chain.TRAIL, 0, of.knee_address)) / 2,
        height(chain.TRAIL, 1, of.knee_trail_top),
        height(chain.LEAD, 2, of.knee_lead_impact),
        height(chain.LEAD, 3, of.knee_lead_finish),
    ]
    flat = np.zeros_like(heights[0])
    heel_impact = heel(2, of.knee_trail_impact, HEEL_IMPACT)
    heel_finish = heel(3, of.knee_trail_finish, HEEL_FINISH)
    t_s, turn = _turns(of.times, rad(of.turn))

    def along(marks: Floats, power: Floats | None = None) -> Floats:
        return _along(rad(of.turn), turn, marks, power)

    pelvis = chain.Pelvis(
        turn, along(rad(of.side), of.level_power), along(rad(of.forward)), along(of.ahead),
        along(np.concatenate(heights, axis=1)), along(of.to_target),
    )  # fmt: skip
    heels = {
        chain.LEAD: np.concatenate([flat, rad(of.heel_top)[:, None], flat, flat], axis=1),
        chain.TRAIL: np.concatenate([flat, flat, heel_impact, heel_finish], axis=1),
    }
    on_ground = {side: (feet[side], along(heels[side]), along(pivots[side])) for side in (chain.LEAD, chain.TRAIL)}

    def legs(under: chain.Pelvis) -> tuple[chain.Leg, chain.Leg]:
        return chain.leg(under, *on_ground[chain.LEAD]), chain.leg(under, *on_ground[chain.TRAIL])

    if changed is not None:
        pelvis = changed(pelvis, legs)
    lead, trail = legs(pelvis)
    return RepCourses(t_s, pelvis, lead, trail)


def _turns(times: Floats, marks: Floats) -> tuple[Floats, Floats]:
    """Times and turn: quintic pieces from rest, one quick reversal, speed through impact, to rest (as in `swing`)."""
    back, down, through = times.T
    reversal = np.minimum(10 * (marks[:, 0] - marks[:, 1]) / back**2, 4 * (marks[:, 2] - marks[:, 1]) / down**2)
    speed = np.minimum(1.2 * (marks[:, 2] - marks[:, 1]) / down, 2.35 * (marks[:, 3] - marks[:, 2]) / through)
    nothing = np.zeros_like(back)
    rates = np.stack([nothing, nothing, speed, nothing], axis=1)
    accels = np.stack([nothing, reversal, nothing, nothing], axis=1)
    t, x, begin = [], [], nothing
    for k, points in enumerate(POINTS):
        u = np.linspace(0, 1, points, endpoint=k == len(POINTS) - 1)[None, :]
        h = times[:, k : k + 1]
        t.append(begin[:, None] + h * u)
        x.append(_quintic(u, h, marks[:, k : k + 2], rates[:, k : k + 2], accels[:, k : k + 2]))
        begin = begin + times[:, k]
    return np.concatenate(t, axis=1), np.concatenate(x, axis=1)


def _quintic(u: Floats, h: Floats, value: Floats, rate: Floats, accel: Floats) -> Floats:
    first = value[:, :1] + rate[:, :1] * h * u + accel[:, :1] * (h * u) ** 2 / 2
    missing = value[:, 1:] - value[:, :1] - rate[:, :1] * h - accel[:, :1] * h**2 / 2
    faster = (rate[:, 1:] - rate[:, :1] - accel[:, :1] * h) * h
    harder = (accel[:, 1:] - accel[:, :1]) * h**2 / 2
    third = 10 * missing - 4 * faster + harder
    fourth = -15 * missing + 7 * faster - 2 * harder
    out: Floats = first + third * u**3 + fourth * u**4 + (6 * missing - 3 * faster + harder) * u**5
    return out


def _along(turns: Floats, turn: Floats, marks: Floats, power: Floats | None) -> Floats:
    """A channel over the turn: smoothstep on the way back, from the top on a monotone cubic through impact."""
    at = [turns[:, k : k + 1] for k in range(4)]
    value = [marks[:, k : k + 1] for k in range(4)]
    u = np.clip((turn - at[0]) / (at[1] - at[0]), 0, 1)
    back = value[0] + (value[1] - value[0]) * u * u * (3 - 2 * u)
    before = (value[2] - value[1]) / (at[2] - at[1])
    after = (value[3] - value[2]) / (at[3] - at[2])
    with np.errstate(divide="ignore", invalid="ignore"):
        middle = np.where(before * after > 0, 2 * before * after / (before + after), 0.0)
    q = np.clip((turn - at[1]) / (at[2] - at[1]), 0, 1)
    q = q if power is None else q ** power[:, None]
    begin = before if power is None else np.zeros_like(before)
    down = _hermite(q, at[2] - at[1], value[1], value[2], begin, middle)
    q = np.clip((turn - at[2]) / (at[3] - at[2]), 0, 1)
    through = _hermite(q, at[3] - at[2], value[2], value[3], middle, np.zeros_like(middle))
    column = np.arange(turn.shape[1])
    out: Floats = np.where(column < TOP, back, np.where(column < IMPACT, down, through))
    return out


def _hermite(q: Floats, h: Floats, a: Floats, b: Floats, slope_a: Floats, slope_b: Floats) -> Floats:
    out: Floats = (
        (1 + 2 * q) * (1 - q) ** 2 * a
        + q * (1 - q) ** 2 * h * slope_a
        + q * q * (3 - 2 * q) * b
        + q * q * (q - 1) * h * slope_b
    )
    return out
