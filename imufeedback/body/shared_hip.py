"""Which way a distal segment faces against the proximal one, from the joint centre that both share; from standing to
standing in one go, by gyroscopes alone.

With S the turn of a sensor since standing (from its gyroscope), the joint centre's acceleration in the standing pose is

    S·(acc + Λ·r) - acc_standing - (S - 1)·b,      Λ = [α]× + [ω]×[ω]×

with r from the sensor to the joint and b the accelerometer's zero-g offset. Pelvis and thigh see the same one, but for
their headings. For a given heading δ all else is linear; δ is searched for. The same constraint as in `link.py`, over
the whole calibration at once and without knowing δ beforehand. Where this cannot be used, see `shared_joint.py`.
"""

from __future__ import annotations

import numpy as np

from imufeedback.body.joint_problem import (
    GRID,
    HEADINGS,
    SD_FACTOR,
    Problem,
    SensorResidual,
    arm_prior,
    inflation,
    seen,
)
from imufeedback.body.matrices import from_q
from imufeedback.body.strapdown import Strapdown
from imufeedback.body.stretch import WindowSamples
from imufeedback.quaternions import by_vector
from imufeedback.records import Floats

STANDING_S = 0.3
MAX_SPAN_S, OFFSET_SPAN_S = 60.0, 30.0
"""Longer than the first the gyroscope's own drift counts as movement; longer than the second it would be taken for an
offset (0.4 m/s² seen after 40 s of sitting). The calibration movements take 12 to 25 s."""
MOST_M_S2 = 0.8
"""No part has more (80 mg); such a result says that the movements were not what they should have been."""
EXPLAINED = 1.0
"""No offset is taken when the rows leave more, in their own variances."""
CALM_RAD_S = 0.25
SAME_G_M_S2 = 0.3
"""Gravity is as long at the end as at the beginning; the worst offset that is no fault changes it by so much between
two poses (from memory)."""


def ends_as_it_began(one: WindowSamples) -> bool:
    """Without a gap, not too long, and still at its end: what the gyroscope has drifted in between can be taken off.
    Drift that stays would go into the offsets, for nothing else takes it up."""
    if len(one.pieces) != 1 or len(one.t_s) > MAX_SPAN_S * one.rate_hz:
        return False
    moment = max(round(STANDING_S * one.rate_hz), 1)
    calm = np.sqrt((one.gyr_rad_s[-moment:] ** 2).sum(axis=1).mean()) < CALM_RAD_S
    first, last = (np.linalg.norm(one.acc_m_s2[part].mean(axis=0)) for part in (slice(moment), slice(-moment, None)))
    return bool(calm and abs(first - last) < SAME_G_M_S2)


Both = tuple[Floats, Floats]


def shared_hip(
    p: WindowSamples, d: WindowSamples, R_p: Floats, R_d: Floats, arm_p: Floats, arm_d: Floats
) -> tuple[float, float, Floats, Both, Both]:
    """From two stretches with the same samples that begin and end in quiet standing (`ends_as_it_began`); `R_p`, `R_d`
    (3, 3) take coordinates in the segment to the sensor, `arm_p`, `arm_d` (3,) m lead from the sensor to the joint
    centre in segment axes.

    Gives the distal's turn to the left of the proximal one as fitted and its standard deviation (rad), (GRID,) the
    -2 log likelihood of each of `HEADINGS`, and both zero-g offsets (3,) m/s² with their covariances, segment axes."""
    sds = p.offset_sd_m_s2, d.offset_sd_m_s2
    prior = np.concatenate([arm_prior(sd) for sd in sds])
    problem = Problem(_seen(p.unbiased(), R_p, arm_p), _seen(d.unbiased(), R_d, arm_d), prior)
    best, sd = _least(problem)
    cost = problem.cost(best)
    inflated = inflation(cost, problem.rows)  # the residual is part of the error bar
    energy = np.maximum(problem.costs(HEADINGS) - cost, 0.0) / inflated
    x, covariance = problem.solved(best)
    pairs = [_in_plane(x[k : k + 3], covariance[k : k + 3, k : k + 3], of) for k, of in zip((0, 6), sds, strict=True)]
    too_much = max(np.linalg.norm(x[:2]), np.linalg.norm(x[6:8])) > MOST_M_S2
    if len(p.t_s) > OFFSET_SPAN_S * p.rate_hz or cost > EXPLAINED * problem.rows or too_much:
        pairs = [unknown(one) for one in sds]
    offsets, spreads = zip(*pairs, strict=True)
    return best, min(sd * float(np.sqrt(inflated)), np.pi), energy, offsets, spreads


def unknown(sd_m_s2: float) -> tuple[Floats, Floats]:
    """No offset, and how large it may be."""
    return np.zeros(3), sd_m_s2**2 * np.eye(3)


def _in_plane(offset: Floats, covariance: Floats, sd_m_s2: float) -> tuple[Floats, Floats]:
    """Knee lifts and bows turn gravity in the plane across z: the offset along z they do not show, and what is found
    there comes from something else."""
    out, spread = offset.copy(), unknown(sd_m_s2)[1]
    out[2] = 0.0
    spread[:2, :2] = SD_FACTOR**2 * covariance[:2, :2]
    return out, spread


def _least(problem: Problem) -> tuple[float, float]:
    """The heading that fits best, and its standard deviation."""
    costs = problem.costs(HEADINGS)
    best, step, low = float(HEADINGS[int(np.argmin(costs))]), 2 * np.pi / GRID, float(costs.min())
    for _ in range(5):  # a parabola through three points, nearer and nearer
        left, right = problem.cost(best - step), problem.cost(best + step)
        curve = left - 2 * low + right
        if curve > 0:
            best += float(np.clip(0.5 * step * (left - right) / curve, -step, step))
        step /= 3
        low = problem.cost(best)
    h = float(np.deg2rad(3.0))
    curvature = (problem.cost(best + h) - 2 * low + problem.cost(best - h)) / h**2
    sd = float(np.sqrt(2.0 / curvature)) if curvature > 0 else np.pi
    return (best + np.pi) % (2 * np.pi) - np.pi, sd


def _seen(stretch: WindowSamples, R: Floats, arm: Floats) -> SensorResidual:
    rate, acc = stretch.gyr_rad_s @ R, stretch.acc_m_s2 @ R
    S = Strapdown(1.0 / stretch.rate_hz).turned(rate[None], rate[:1])[0]
    moment = max(round(STANDING_S * stretch.rate_hz), 1)
    standing = acc[:moment].mean(axis=0)
    S = _closed(S, standing, (S[-moment:] @ acc[-moment:, :, None])[..., 0].mean(axis=0))
    return seen(S, rate, acc, standing, np.eye(3), arm, None, stretch.rate_hz)


def _closed(S: Floats, before: Floats, after: Floats) -> Floats:
    """Turns whose drift against gravity, from standing to standing, is taken off evenly."""
    a, b = after / np.linalg.norm(after), before / np.linalg.norm(before)
    drift = np.cross(a, b)
    parts = np.linspace(0.0, 1.0, len(S))[:, None] * drift
    out: Floats = from_q(by_vector(parts)) @ S
    return out
