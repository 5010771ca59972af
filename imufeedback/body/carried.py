"""Gravity, carried into one frame by each of the 48 maps of a gyroscope's axes: what is left over in short windows."""

from __future__ import annotations

from functools import lru_cache
from itertools import permutations, product

import numpy as np

from imufeedback.records import Bools, Floats

OVERLAP = 4
"""Windows begin so many times in their length."""
BIN_S, COARSE_S = 0.02, 0.06
"""Steps of what is carried, and of what is then weighed."""
TURN_RAD = float(np.deg2rad(10.0))
"""A window counts when the sensor turned by so much in it. Chosen; at 8 and 15 about the same is found."""
SPEED_M_S, CHANGE_S = 0.2, 0.1
"""Velocity that a body part keeps within, and how soon it changes: what the weights of a window come from. Chosen:
`tests/body/test_axes.py` and `measure/axis_maps.py` show what they give."""
NOISE_M_S2 = 0.1
ARM_SD_M = 0.3
FLOOR = 0.003
"""Least mean square of what is left over, in its own unit: noise, a gyroscope's bias, its scale."""
MOST = 1.5
"""A window that no map explains better than this holds more than arm and gravity. On fast movements to and fro true
sensors are contradicted from 4 on."""
REST_S, REST_GYR_RAD_S, REST_ACC_M_S2, BIAS_RAD_S = 0.5, 0.03, 0.1, 0.1
"""A rest: so long, no axis scattering more. A mean rate below the last is the gyroscope's bias (`ble/verdict.py`)."""
JUMP_RAD_S = 0.01
"""A smaller change between rests is swaying, not a bias that was taken off. Chosen: that of cheap chips is 0.02."""
DEG = 180.0 / np.pi
TRUE = 0
"""Number of the map that changes nothing."""


@lru_cache(maxsize=1)
def maps() -> Floats:
    """(48, 3, 3) all maps of three axes on three axes; map k takes the rates that stand there to true ones."""
    out = np.zeros((48, 3, 3))
    for k, (places, signs) in enumerate(product(permutations(range(3)), product((1.0, -1.0), repeat=3))):
        out[k, (0, 1, 2), places] = signs
    return out


def determinants() -> Floats:
    out: Floats = np.rint(np.linalg.det(maps()))
    return out


def left_over(
    t_s: Floats, gyr_rad_s: Floats, acc_m_s2: Floats, window_s: float, longest_s: float = np.inf
) -> tuple[Floats, Bools, Floats]:
    """What the windows of a stretch say; gaps may be in it. Runs without a gap of `longest_s` and more are left out.

    Returns (W, 48) what each map leaves over, (W,) whether a window counts, and (2, 2): by how much rates divided or
    multiplied by 57.3 explain the motion better (a logarithm, over all windows), and how many windows say so.
    """
    gyr, acc, step_s = _windows(t_s, gyr_rad_s - bias(t_s, gyr_rad_s, acc_m_s2), acc_m_s2, window_s, longest_s)
    if not len(gyr):
        return np.empty((0, 48)), np.empty(0, dtype=bool), np.zeros((2, 2))
    forth, turned = _forms(gyr, acc, step_s)
    back, _ = _forms(-gyr, acc, step_s)
    sign = determinants()
    v = (sign[:, None, None] * np.swapaxes(maps(), 1, 2)).reshape(48, 9)
    left = FLOOR + np.where(sign > 0, _values(v, forth), _values(v, back))
    counts = (turned > TURN_RAD) & (left.min(axis=1) < MOST)
    scaled = [_scaled(gyr * factor, acc, step_s, left[:, TRUE], turned) for factor in (1.0 / DEG, DEG)]
    return left, counts, np.array(scaled)


def _scaled(gyr: Floats, acc: Floats, step_s: float, left: Floats, turned: Floats) -> tuple[float, float]:
    """By how much rates in another unit explain the motion better, and the windows that say so."""
    other, by = _forms(gyr, acc, step_s)
    v = np.eye(3).reshape(1, 9)
    better = FLOOR + _values(v, other)[:, 0]
    counts = (np.maximum(by, turned) > TURN_RAD) & (np.minimum(better, left) < MOST)
    return float(np.log(left[counts] / better[counts]).sum()), float(counts.sum())


def _windows(t_s: Floats, gyr: Floats, acc: Floats, window_s: float, longest_s: float) -> tuple[Floats, Floats, float]:
    """(W, n, 3) rates and forces of overlapping windows without gaps, each the mean of some samples, and their step."""
    good = np.isfinite(gyr).all(axis=1) & np.isfinite(acc).all(axis=1)
    t_s, gyr, acc = t_s[good], gyr[good], acc[good]
    none = np.empty((0, 2, 3))
    if len(t_s) < 2:
        return none, none, BIN_S
    period_s = float(np.median(np.diff(t_s)))
    size = max(round(BIN_S / period_s), 1)
    step_s = size * period_s
    count = round(window_s / step_s) * size
    hop = max(round(window_s / OVERLAP / step_s), 1) * size
    if count < 4 * size:
        return none, none, step_s
    edges = np.flatnonzero(np.diff(t_s) > 2.5 * period_s) + 1
    runs = zip([0, *edges], [*edges, len(t_s)], strict=True)
    # from the end: what has just been done is whole in the last one
    begins = [np.arange(b - count, a - 1, -hop) for a, b in runs if (b - a) * period_s < longest_s]
    if not begins:
        return none, none, step_s
    rows = np.concatenate(begins)[:, None] + np.arange(count)
    shape = (len(rows), count // size, size, 3)
    return gyr[rows].reshape(shape).mean(axis=2), acc[rows].reshape(shape).mean(axis=2), step_s


def bias(t_s: Floats, gyr: Floats, acc: Floats) -> Floats:
    """(N, 3) the gyroscope's bias at each sample, as its rests show it; zero where there are none.

    One for all, or two: live it is taken off from the rest on that has first shown it.
    """
    if len(t_s) < 2:
        return np.zeros_like(gyr)
    size = max(round(REST_S / float(np.median(np.diff(t_s)))), 2)
    count = len(t_s) // size
    nothing: Floats = np.zeros_like(gyr)
    if not count:  # too few to rest in
        return nothing
    times, rates, forces = (x[: count * size].reshape(count, size, -1) for x in (t_s, gyr, acc))
    mean = rates.mean(axis=1)
    rest = (rates.std(axis=1).max(axis=-1) < REST_GYR_RAD_S) & (forces.std(axis=1).max(axis=-1) < REST_ACC_M_S2)
    rest &= np.linalg.norm(mean, axis=-1) < BIAS_RAD_S
    if not rest.any():
        return nothing
    mean, at_s = mean[rest], times[rest].mean(axis=(1, 2))
    k = _jump(mean)
    before, after = np.median(mean[: k or None], axis=0), np.median(mean[k:], axis=0)
    if np.linalg.norm(after - before) < JUMP_RAD_S:
        return np.broadcast_to(np.median(mean, axis=0), gyr.shape)
    parted: Floats = np.where((t_s < 0.5 * (at_s[k - 1] + at_s[k]))[:, None], before, after)
    return parted


def _jump(values: Floats) -> int:
    """Of rows (n, 3), the number of the first after the jump that leaves least of how they differ; 0 for one row.

    Differences count as they are and not by their squares: a leg that sways while the other one is lifted passes for a
    rest, and two such once moved the jump from the first rest to behind the lift.
    """
    left = [_differ(values[:k]) + _differ(values[k:]) for k in range(1, len(values))]
    return 1 + int(np.argmin(left)) if left else 0


def _differ(values: Floats) -> float:
    return float(np.abs(values - np.median(values, axis=0)).sum())


def _forms(gyr: Floats, acc: Floats, step_s: float) -> tuple[Floats, Floats]:
    """(W, 9, 9) form that gives, for the nine products of a map, the weighed mean square of what gravity and an arm
    leave over; and (W,) the most that each window turned (rad)."""
    R = _carried(gyr, step_s)
    spin, across = np.gradient(gyr, step_s, axis=1), cross(gyr)
    W, n = gyr.shape[:2]
    still = np.broadcast_to(np.eye(3), (W, n, 3, 3))
    forces = (R[..., :, :, None] * acc[..., None, None, :]).reshape(W, n, 3, 9)
    columns = np.concatenate((still, R @ (cross(spin) + across @ across), forces), axis=-1).reshape(W, n, 45)
    k = max(round(COARSE_S / step_s), 1)
    m = n // k
    coarse = columns[:, : m * k].reshape(W, m, k, 45).mean(axis=2)
    # one large product: many small ones each wake all threads of a numerical library
    product = np.tensordot(_weights(m, round(k * step_s, 9)), coarse, axes=(1, 1))
    weighed = np.ascontiguousarray(product.swapaxes(0, 1)).reshape(W, 3 * m, 15)
    square = np.swapaxes(weighed, 1, 2) @ weighed
    known = square[:, :6, :6] + np.diag([1e-9] * 3 + [ARM_SD_M**-2] * 3)
    mixed = square[:, :6, 6:]
    form = square[:, 6:, 6:] - np.swapaxes(mixed, 1, 2) @ np.linalg.solve(known, mixed)
    cosine = (np.trace(R, axis1=-2, axis2=-1) - 1.0) / 2.0
    return form / (3 * m), np.arccos(np.clip(cosine, -1.0, 1.0)).max(axis=1)


def _values(v: Floats, form: Floats) -> Floats:
    """(W, len(v)) value of each form for each row of `v`."""
    out: Floats = np.maximum(np.einsum("qi,wij,qj->wq", v, form, v, optimize=True), 0.0)
    return out


def _carried(gyr: Floats, step_s: float) -> Floats:
    """(W, n, 3, 3) what takes coordinates at each instant to those at the window's begin."""
    steps = _turns(0.5 * step_s * (gyr[:, 1:] + gyr[:, :-1]))
    R = np.empty((*gyr.shape, 3))
    R[:, 0] = np.eye(3)
    for k in range(gyr.shape[1] - 1):
        R[:, k + 1] = R[:, k] @ steps[:, k]
    return R


def cross(v: Floats) -> Floats:
    """(..., 3, 3) whose product with a vector is the cross product."""
    out = np.zeros((*v.shape, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        out[..., k, j], out[..., j, k] = v[..., i], -v[..., i]
    return out


def _turns(v: Floats) -> Floats:
    """(..., 3, 3) rotations by rotation vectors (Rodrigues)."""
    angle = np.linalg.norm(v, axis=-1)[..., None, None]
    K = cross(v)
    out: Floats = np.eye(3) + np.sinc(angle / np.pi) * K + 0.5 * np.sinc(0.5 * angle / np.pi) ** 2 * (K @ K)
    return out


@lru_cache(maxsize=8)
def _weights(n: int, step_s: float) -> Floats:
    """(n, n) what makes n accelerations of a bounded velocity independent and of size one.

    The velocity has the covariance s²(1 + d/τ)·exp(−d/τ) (Matérn 3/2; Rasmussen & Williams 2006, ch. 4), so its
    derivative has (s/τ)²(1 − d/τ)·exp(−d/τ).
    """
    d = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) * step_s / CHANGE_S
    covariance = (SPEED_M_S / CHANGE_S) ** 2 * (1.0 - d) * np.exp(-d) + NOISE_M_S2**2 * np.eye(n)
    out: Floats = np.linalg.inv(np.linalg.cholesky(covariance))
    return out
