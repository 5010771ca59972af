"""Where the pelvis' forward is in a thigh's sensor, from the hip centre that both share.

With S the turn of a sensor since standing (from its gyroscope), the hip centre's acceleration in the standing pose is

    S·(acc + Λ·r) - acc_standing - (S - 1)·b,      Λ = [α]× + [ω]×[ω]×

with r from the sensor to the hip and b the accelerometer's zero-g offset. Pelvis and thigh see the same one, but for
their headings. For a given heading δ all else is linear; δ is searched for. The same constraint as in `link.py`, over
the whole fitting at once and without knowing δ beforehand.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body.strapdown import Strapdown
from imufeedback.body.stretch import Stretch
from imufeedback.records import Floats

BIN_S = 0.08
STANDING_S = 0.3
BIAS_SD_M_S2 = 0.22
ARM_SD_M = 0.05
QUIET_SD_M_S2, TURNED_SD_M_S2, SPIN_SD_M = 0.06, 0.22, 0.02
"""Of a bin: always; per radian that the sensor is turned (its gyroscope is off by 1 %, times gravity); and per rad/s²
(soft tissue, a hip that is no point). Chosen; more than for one bin alone, since neighbouring bins err alike."""
GRID = 48
SD_FACTOR = 1.6
"""What the errors really are over what this says (80 thighs of seeded players: 1.5): bins are not independent."""
MAX_SPAN_S = 60.0
"""Longer than this the gyroscope's own drift would be taken for an offset."""
MOST_M_S2 = 0.8
"""No part has more (80 mg); such a result says that the movements were not what they should have been …"""
DOUBTFUL = 3.0
"""… and that the heading is so much less sure."""
CALM_RAD_S = 0.25


@dataclass(frozen=True, slots=True)
class Shared:
    """What a thigh and the pelvis show together."""

    turn_rad: float
    """By how much the thigh's forward, as fitted, is turned to the left of the pelvis'."""
    sd_rad: float
    offset: tuple[Floats, Floats]
    """(3,) m/s², segment axes: zero-g offset of the pelvis' accelerometer, and of the thigh's."""
    covariance: tuple[Floats, Floats]
    """(3, 3) of each."""


@dataclass(frozen=True, slots=True)
class _Seen:
    """One sensor's part of the residual, in its segment's standing axes: ``known + unknown @ (b, r)``."""

    known: Floats
    """(n, 3)"""
    unknown: Floats
    """(n, 3, 6)"""
    variance: Floats
    """(n,)"""


def shared_hip(
    pelvis: Stretch, thigh: Stretch, R_p: Floats, R_t: Floats, arm_p: Floats, arm_t: Floats
) -> Shared | None:
    """From two stretches over the same time, beginning in quiet standing; `R_p`, `R_t` (3, 3) take coordinates in the
    segment to the sensor, `arm_p`, `arm_t` (3,) m lead from the sensor to the hip centre in segment axes.

    None when the stretches are not of one length (samples are missing) or too long.
    """
    n = len(pelvis.acc_m_s2)
    if n != len(thigh.acc_m_s2) or not pelvis.rate_hz <= n <= MAX_SPAN_S * pelvis.rate_hz:
        return None
    p, t = _seen(pelvis.unbiased(), R_p, arm_p), _seen(thigh.unbiased(), R_t, arm_t)
    problem = _Problem(p, t, 1.0 / np.sqrt(p.variance + t.variance))
    best, sd = _least(problem)
    _, x, covariance = problem.solved(best)
    if max(np.linalg.norm(x[:2]), np.linalg.norm(x[6:8])) > MOST_M_S2:
        sd *= DOUBTFUL
    pairs = [_in_plane(x[k : k + 3], covariance[k : k + 3, k : k + 3]) for k in (0, 6)]
    return Shared(best, sd, (pairs[0][0], pairs[1][0]), (pairs[0][1], pairs[1][1]))


def _in_plane(offset: Floats, covariance: Floats) -> tuple[Floats, Floats]:
    """Knee lifts and bows turn gravity in the plane across z: the offset along z they do not show, and what is found
    there comes from something else."""
    out, spread = offset.copy(), BIAS_SD_M_S2**2 * np.eye(3)
    out[2] = 0.0
    if np.linalg.norm(out) > MOST_M_S2:
        return np.zeros(3), spread
    spread[:2, :2] = SD_FACTOR**2 * covariance[:2, :2]
    return out, spread


def _least(problem: _Problem) -> tuple[float, float]:
    """The heading that fits best, and its standard deviation."""
    angles = np.linspace(-np.pi, np.pi, GRID, endpoint=False)
    costs = [problem.cost(one) for one in angles.tolist()]
    best, step = float(angles[int(np.argmin(costs))]), 2 * np.pi / GRID
    low = min(costs)
    for _ in range(5):  # a parabola through three points, nearer and nearer
        left, right = problem.cost(best - step), problem.cost(best + step)
        curve = left - 2 * low + right
        if curve > 0:
            best += float(np.clip(0.5 * step * (left - right) / curve, -step, step))
        step /= 3
        low = problem.cost(best)
    h = float(np.deg2rad(3.0))
    curvature = (problem.cost(best + h) - 2 * low + problem.cost(best - h)) / h**2
    sd = SD_FACTOR * float(np.sqrt(2.0 / curvature)) if curvature > 0 else np.pi
    return (best + np.pi) % (2 * np.pi) - np.pi, min(sd, np.pi)


def _seen(stretch: Stretch, R: Floats, arm: Floats) -> _Seen:
    size = max(round(BIN_S * stretch.rate_hz), 1)
    count = len(stretch.acc_m_s2) // size
    rate, acc = stretch.gyr_rad_s[: count * size] @ R, stretch.acc_m_s2[: count * size] @ R
    S = Strapdown(1.0 / stretch.rate_hz).turned(rate[None], rate[:1])[0]
    spin = np.gradient(rate, 1.0 / stretch.rate_hz, axis=0)
    moment = max(round(STANDING_S * stretch.rate_hz), 1)
    standing = acc[:moment].mean(axis=0)
    if np.sqrt((rate[-moment:] ** 2).sum(axis=1).mean()) < CALM_RAD_S:
        S = _closed(S, standing, (S[-moment:] @ acc[-moment:, :, None])[..., 0].mean(axis=0))
    swing = np.stack([np.cross(spin, e) + np.cross(rate, np.cross(rate, e)) for e in np.eye(3)], axis=-1)
    by_arm = S @ swing
    known = (S @ acc[..., None])[..., 0] - standing + by_arm @ arm
    unknown = np.concatenate((np.eye(3) - S, by_arm), axis=-1)
    turned = np.arccos(np.clip((np.trace(S, axis1=-2, axis2=-1) - 1) / 2, -1, 1))
    variance = QUIET_SD_M_S2**2 + (TURNED_SD_M_S2 * turned) ** 2 + SPIN_SD_M**2 * (spin**2).sum(axis=-1)

    def binned(x: Floats) -> Floats:
        out: Floats = x.reshape(count, size, *x.shape[1:]).mean(axis=1)
        return out

    return _Seen(binned(known), binned(unknown), binned(variance))


def _closed(S: Floats, before: Floats, after: Floats) -> Floats:
    """Turns whose drift against gravity, from standing to standing, is taken off evenly."""
    a, b = after / np.linalg.norm(after), before / np.linalg.norm(before)
    drift = np.cross(a, b)
    parts = np.linspace(0.0, 1.0, len(S))[:, None] * drift
    out: Floats = Rotation.from_rotvec(parts).as_matrix() @ S
    return out


@dataclass(frozen=True, slots=True)
class _Problem:
    """Both sides of the constraint."""

    p: _Seen
    t: _Seen
    weight: Floats

    def cost(self, delta: float) -> float:
        """Least weighted square sum for one heading."""
        return self.solved(delta)[0]

    def solved(self, delta: float) -> tuple[float, Floats, Floats]:
        """Cost, (12,) both offsets and corrections of both arms, and their covariance; segment axes have y up."""
        c, s = np.cos(delta), np.sin(delta)
        turn = np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]])
        w = self.weight[:, None, None]
        A = (np.concatenate((-self.p.unknown, turn @ self.t.unknown), axis=-1) * w).reshape(-1, 12)
        y = ((self.p.known - self.t.known @ turn.T) * self.weight[:, None]).ravel()
        covariance = np.linalg.inv(A.T @ A + np.diag(_PRIOR))
        x = covariance @ (A.T @ y)
        cost = float(((y - A @ x) ** 2).sum() + _PRIOR @ x**2)
        return cost, x.astype(np.float64), covariance.astype(np.float64)


_PRIOR = np.tile(np.repeat([BIAS_SD_M_S2**-2, ARM_SD_M**-2], 3), 2)
