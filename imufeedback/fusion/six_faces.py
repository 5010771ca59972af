"""A sensor's own errors, found from holding it still on each of its six faces, with slow turns from one to the next.

At rest an accelerometer measures gravity's length whichever way it lies; offset, scale and cross-axis terms are what
makes it so for all poses, by least squares: the multi-position method of Ferraris, Grimaldi & Parvis (1995) without its
exact cube, as gravity's length needs no levelled faces (Skog & Handel 2006, "Calibration of a MEMS inertial measurement
unit", both second-hand). A frame turned as a whole cannot be seen: the matrix is triangular. What few poses do not show
is held near nothing by priors of ordinary parts: cross-axis terms are shown by poses on edges. Between two rests the
gyroscope must turn gravity from where it was to where it is: that shows its matrix and bias.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from imufeedback.records import Floats
from imufeedback.settings import Calibration

CHUNK_S = 0.5
LEAST_CHUNKS = 4
"""A pose is held for 2 s at least."""
STILL_ACC_SD_M_S2 = 0.7
STILL_RATE_RAD_S = 0.18
STILL_TURN_RAD = 0.07
"""Of a hand that holds still: shake, mean rate, and turn from chunk to chunk. Chosen, well above a resting table and
below a turn that anybody would call one."""
FACE_SHARE = 0.8
"""Part of gravity along one axis, for a pose to count as that face: within 37° of it."""
PRIOR_OFFSET_M_S2, PRIOR_SCALE, PRIOR_CROSS = 0.6, 0.02, 0.01
PRIOR_GYR, PRIOR_GYR_BIAS_RAD_S = 0.02, 0.02
"""Spreads of ordinary parts: 60 mg, 2 %, 1 %; vendors' data sheets, second-hand."""
POSE_SD_M_S2 = 0.005
DIRECTION_SD_RAD = 0.004
"""What a pose is known to at best: a held hand sways. Chosen."""
MOST_OFFSET_M_S2, MOST_SCALE, MOST_GYR = 1.5, 0.08, 0.1
"""Beyond this it is no error of a working part, but another range or unit."""
MOST_TURN_RAD = 0.05
MOST_LENGTH_M_S2 = 0.08
"""Left over after the fit, between gyroscope and gravity, and in gravity's length: more contradicts. Chosen."""
AVERAGED = 8
"""Samples in one step of a turn: the turns are slow."""
FACES = ("+x", "-x", "+y", "-y", "+z", "-z")


class Contradiction(ValueError):
    """The samples cannot be those of one sensor held still on its faces; the text says why."""


@dataclass(frozen=True, slots=True)
class Pose:
    """Held still from sample `begin` to `end`."""

    begin: int
    end: int
    acc_m_s2: Floats
    """(3,) mean."""
    sd_m_s2: float
    face: str
    """``+x`` … ``-z``: the axis that points up; empty when none does."""

    @property
    def middle(self) -> int:
        return (self.begin + self.end) // 2


def poses(t_s: Floats, gyr: Floats, acc: Floats) -> list[Pose]:
    """Stretches held still, oldest first. (N,) s, (N, 3) rad/s, (N, 3) m/s², sensor axes."""
    if len(t_s) < 2:
        return []
    size = max(2, round(CHUNK_S * (len(t_s) - 1) / max(t_s[-1] - t_s[0], 1e-9)))
    count = len(t_s) // size
    parts = [slice(k * size, (k + 1) * size) for k in range(count)]
    means = np.array([acc[one].mean(axis=0) for one in parts]).reshape(-1, 3)
    still = np.array([_is_still(gyr[one], acc[one]) for one in parts], dtype=bool)
    runs: list[list[int]] = []
    for k in range(count):
        if not still[k]:
            continue
        if runs and runs[-1][-1] == k - 1 and _angle(means[k - 1], means[k]) < STILL_TURN_RAD:
            runs[-1].append(k)
        else:
            runs.append([k])
    return [_pose(run, means, size) for run in runs if len(run) >= LEAST_CHUNKS]


def _is_still(gyr: Floats, acc: Floats) -> bool:
    return bool(acc.std(axis=0).max() < STILL_ACC_SD_M_S2 and np.linalg.norm(gyr.mean(axis=0)) < STILL_RATE_RAD_S)


def _angle(a: Floats, b: Floats) -> float:
    return float(np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b))


def _pose(run: list[int], means: Floats, size: int) -> Pose:
    inner = means[run]
    mean = inner.mean(axis=0)
    lengths = np.linalg.norm(inner, axis=1)
    sd = max(POSE_SD_M_S2, float(lengths.std(ddof=1)) / np.sqrt(len(run)))
    axis = int(np.abs(mean).argmax())
    share = abs(mean[axis]) / np.linalg.norm(mean)
    face = FACES[2 * axis + (mean[axis] < 0)] if share > FACE_SHARE else ""
    return Pose(run[0] * size, (run[-1] + 1) * size, mean, sd, face)


def missing(found: list[Pose]) -> list[str]:
    """Faces that no pose shows yet."""
    seen = {one.face for one in found}
    return [one for one in FACES if one not in seen]


def calibrated(t_s: Floats, gyr: Floats, acc: Floats, gravity_m_s2: float) -> Calibration:
    """The sensor's errors; shapes as for `poses`. Raises Contradiction, with the reason in words."""
    found = poses(t_s, gyr, acc)
    lacking = missing(found)
    if lacking:
        raise Contradiction(f"not seen at rest: {', '.join(lacking)} up")
    theta, cov, left = _accelerometer(found, gravity_m_s2)
    if np.abs(theta[:3]).max() > MOST_OFFSET_M_S2 or np.abs(theta[3:6]).max() > MOST_SCALE:
        raise Contradiction(
            "offset or scale is larger than any working part's: wrong range or unit, or it was not still"
        )
    if left > MOST_LENGTH_M_S2:
        raise Contradiction(f"gravity's length differs by {left:.2f} m/s² between the faces whatever is assumed")
    gyr_theta, gyr_cov, apart = _gyroscope(t_s, gyr, acc, found, theta)
    if np.abs(gyr_theta[3:]).max() > MOST_GYR:
        raise Contradiction("the gyroscope does not turn as gravity does: axes, signs or scale are wrong")
    if apart > MOST_TURN_RAD:
        raise Contradiction(
            f"in one turn gyroscope and gravity are {np.degrees(apart):.0f}° apart: axes, signs or scale are wrong, or "
            "it was knocked"
        )
    sd, gyr_sd = np.sqrt(np.diag(cov)), np.sqrt(np.diag(gyr_cov))
    return Calibration(
        acc_offset_m_s2=_three(theta[:3]),
        acc_scale=_three(1 + theta[3:6]),
        acc_cross=_three(theta[6:]),
        gyr_matrix=_rows(np.eye(3) + gyr_theta[3:].reshape(3, 3)),
        gyr_bias_rad_s=_three(gyr_theta[:3]),
        acc_offset_sd_m_s2=float(sd[:3].max()),
        acc_scale_sd=float(sd[3:6].max()),
        gyr_scale_sd=float(gyr_sd[3::4].max()),
    )


def _three(values: Floats) -> tuple[float, float, float]:
    x, y, z = values.tolist()
    return x, y, z


_Three: TypeAlias = tuple[float, float, float]


def _rows(values: Floats) -> tuple[_Three, _Three, _Three]:
    x, y, z = values
    return _three(x), _three(y), _three(z)


def _true(theta: Floats, measured: Floats) -> Floats:
    """(N, 3) specific force without the errors."""
    matrix = np.diag(1 + theta[3:6])
    matrix[0, 1], matrix[0, 2], matrix[1, 2] = theta[6:]
    return (measured - theta[:3]) @ matrix.T


def _directed(theta: Floats, measured: Floats) -> Floats:
    up = _true(theta, measured[None])[0]
    return np.asarray(up / np.linalg.norm(up))


def _accelerometer(found: list[Pose], gravity_m_s2: float) -> tuple[Floats, Floats, float]:
    """Offset, scale - 1, cross; covariance (9, 9); the greatest difference of gravity's length that is left."""
    means = np.array([one.acc_m_s2 for one in found])
    sds = np.array([one.sd_m_s2 for one in found])
    prior = np.repeat([PRIOR_OFFSET_M_S2, PRIOR_SCALE, PRIOR_CROSS], 3)

    def lengths(theta: Floats) -> Floats:
        return np.asarray(np.linalg.norm(_true(theta, means), axis=1) - gravity_m_s2)

    fitted = least_squares(
        lambda theta: np.concatenate((lengths(theta) / sds, theta / prior)), np.zeros(9), method="lm"
    )
    return fitted.x, np.linalg.inv(fitted.jac.T @ fitted.jac), float(np.abs(lengths(fitted.x)).max())


def _gyroscope(t_s: Floats, gyr: Floats, acc: Floats, found: list[Pose], theta: Floats) -> tuple[Floats, Floats, float]:
    """Bias, matrix - 1 by rows; covariance (12, 12); the greatest angle that is left of a turn."""
    rests = np.array([gyr[one.begin : one.end].mean(axis=0) for one in found])
    guess = np.concatenate((np.median(rests, axis=0), np.zeros(9)))
    ups = [_up(t_s, gyr - guess[:3], acc, one, theta) for one in found]
    turns = []
    for (before, u), (after, v) in itertools.pairwise(zip(found, ups, strict=True)):
        turns.append((*_averaged(t_s[before.middle : after.middle], gyr[before.middle : after.middle]), u, v))
    prior = np.concatenate((np.full(3, PRIOR_GYR_BIAS_RAD_S), np.full(9, PRIOR_GYR)))

    def apart(guessed: Floats) -> Floats:
        matrix = np.eye(3) + guessed[3:].reshape(3, 3)
        return np.array([_turn(dt, (w - guessed[:3]) @ matrix.T).inv().apply(u) - v for dt, w, u, v in turns])

    def residuals(guessed: Floats) -> Floats:
        return np.concatenate((apart(guessed).ravel() / DIRECTION_SD_RAD, (guessed - guess) / prior))

    fitted = least_squares(residuals, guess, method="lm")
    worst = float(np.linalg.norm(apart(fitted.x), axis=1).max())
    return fitted.x, np.linalg.inv(fitted.jac.T @ fitted.jac), worst


def _up(t_s: Floats, rates: Floats, acc: Floats, pose: Pose, theta: Floats) -> Floats:
    """(3,) direction of gravity's reaction in the sensor as it lay in the middle of a pose: a hand wobbles."""
    dt = float(t_s[-1] - t_s[0]) / (len(t_s) - 1)
    turned = np.cumsum(rates[pose.begin : pose.end], axis=0) * dt  # a wobble is small: its turns add up
    turned -= turned[pose.middle - pose.begin]
    values = np.array(acc[pose.begin : pose.end])
    return _directed(theta, Rotation.from_rotvec(turned).apply(values).mean(axis=0))


def _averaged(t_s: Floats, gyr: Floats) -> tuple[Floats, Floats]:
    """Steps and rates, a few samples in one: the turns are slow."""
    count = len(t_s) // AVERAGED * AVERAGED
    steps = np.diff(t_s, prepend=t_s[0] - (t_s[-1] - t_s[0]) / max(len(t_s) - 1, 1))[:count]
    return steps.reshape(-1, AVERAGED).sum(axis=1), gyr[:count].reshape(-1, AVERAGED, 3).mean(axis=1)


def _turn(dt: Floats, rates: Floats) -> Rotation:
    """All steps one after the other, as a product of pairs."""
    vectors = rates * dt[:, None]
    size = 1 << max(0, int(len(vectors) - 1).bit_length())
    turns = Rotation.from_rotvec(np.vstack((vectors, np.zeros((size - len(vectors), 3)))))
    while len(turns) > 1:
        turns = turns[0::2] * turns[1::2]
    return turns[0]
