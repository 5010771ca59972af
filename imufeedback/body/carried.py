"""Gravity, carried into one frame by each of the 48 maps of a gyroscope's axes: what is left over in short windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise, permutations, product

import numpy as np

from imufeedback.body.matrices import cross, from_q
from imufeedback.body.rest_bias import bias, whole_rows
from imufeedback.body.strapdown import Strapdown
from imufeedback.records import Bools, Floats, Ints

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


@lru_cache(maxsize=1)
def determinants() -> Floats:
    out: Floats = np.rint(np.linalg.det(maps()))
    return out


@dataclass(frozen=True, slots=True)
class Carried:
    """A stretch in N bins, carried into one frame by its rates: as they are and negated, and in two other units.

    It goes on over gaps: another frame for all of a window changes nothing that is weighed.
    """

    step_s: float
    runs: list[tuple[int, int]]
    """Bins without a gap, begin and end …"""
    runs_s: list[float]
    """… and how long the samples of each are."""
    R: Floats
    """(4, N, 3, 3) from the sensor, by each of `RATES`."""
    turns: Floats
    """(4, N, 4) the same as quaternions."""
    bend: Floats
    """(N, 3) by how much the rate's change to the next bin is above that from the one before to the next, rad/s²."""
    products: Floats
    """(2, N - k + 1, 3, 12) means over `coarse` bins: how acceleration grows with an arm to the pivot, and the nine
    products of axes and force; by rates as they are, and negated."""
    forces: Floats
    """(3, N - k + 1, 3, 4) the same with the force itself, by rates as they are and in two other units."""

    @property
    def coarse(self) -> int:
        return max(round(COARSE_S / self.step_s), 1)

    def begins(self, window_s: float, longest_s: float) -> tuple[Ints, int]:
        """(W,) bins with which windows begin, and how many each has."""
        count, hop = round(window_s / self.step_s), max(round(window_s / OVERLAP / self.step_s), 1)
        if count < 4:
            return np.empty(0, dtype=np.int64), count
        # from the end: what has just been done is whole in the last one
        each = [
            np.arange(end - count, begin - 1, -hop)
            for (begin, end), run_s in zip(self.runs, self.runs_s, strict=True)
            if end - begin >= count and run_s < longest_s
        ]
        return np.concatenate(each) if each else np.empty(0, dtype=np.int64), count


RATES = (1.0, -1.0, 1.0 / DEG, DEG)
"""What rates are multiplied by: nothing, all maps that mirror, degrees taken for radians, and radians for degrees."""
_MIRRORS, _UNITS = (0, 1), (0, 2, 3)
"""The first two; those that change no axis."""


def carried(t_s: Floats, gyr_rad_s: Floats, acc_m_s2: Floats) -> Carried | None:
    """A stretch of samples; gaps may be in it. None when there are too few."""
    t_s, gyr_rad_s, acc_m_s2 = whole_rows(t_s, gyr_rad_s - bias(t_s, gyr_rad_s, acc_m_s2), acc_m_s2)
    if len(t_s) < 2:
        return None
    passed = np.diff(t_s)
    period_s = float(np.median(passed))
    size = max(round(BIN_S / period_s), 1)
    cuts = [0, *(np.flatnonzero(passed > 2.5 * period_s) + 1).tolist(), len(t_s)]
    samples = [(begin, end) for begin, end in pairwise(cuts) if end - begin >= size]
    if not samples:
        return None
    # bins end where a run does
    rows = np.concatenate([np.arange(end - (end - begin) // size * size, end) for begin, end in samples])
    edges = np.cumsum([0, *((end - begin) // size for begin, end in samples)]).tolist()
    runs_s = [period_s * (end - begin) for begin, end in samples]
    gyr, acc = (one[rows].reshape(-1, size, 3).mean(axis=1) for one in (gyr_rad_s, acc_m_s2))
    return _carried(gyr, acc, size * period_s, list(pairwise(edges)), runs_s)


def _carried(gyr: Floats, acc: Floats, step_s: float, runs: list[tuple[int, int]], runs_s: list[float]) -> Carried:
    rates = np.multiply.outer(RATES, gyr)
    turns = _turned(rates, step_s)
    R = from_q(turns)
    around = np.concatenate((gyr[:1], gyr, gyr[-1:]))
    spin = (around[2:] - around[:-2]) / (2.0 * step_s)
    bend = (around[2:] - 2.0 * gyr + around[:-2]) / (2.0 * step_s)
    across = cross(rates)
    arms = R @ (np.multiply.outer(RATES, cross(spin)) + across @ across)
    k = max(round(COARSE_S / step_s), 1)
    products = np.empty((2, len(gyr), 3, 12))
    products[..., :3] = arms[:2]
    for axis in range(3):
        np.multiply(R[:2, :, :, axis, None], acc[:, None, :], out=products[..., 3 * axis + 3 : 3 * axis + 6])
    forces = np.concatenate((arms[_UNITS, :], R[_UNITS, :] @ acc[..., None]), axis=-1)
    return Carried(step_s, runs, runs_s, R, turns, bend, _means(products, k), _means(forces, k))


def _turned(rates: Floats, step_s: float) -> Floats:
    """(M, N, 4) turns by rates (M, N, 3) rad/s, each step by the mean of its two ends; one after the other in one run,
    so that each goes on from some turn."""
    ends = np.concatenate((rates[:, :1], rates), axis=1)
    return Strapdown(step_s).quaternions((ends[:, 1:] + ends[:, :-1]).reshape(-1, 3)).reshape(*rates.shape[:2], 4)


def _means(x: Floats, k: int) -> Floats:
    """Of k bins (axis 1) that follow each other, wherever they begin."""
    count = max(x.shape[1] - k + 1, 0)
    out = x[:, :count].copy()
    for j in range(1, k):
        out += x[:, j : j + count]
    out /= k
    return out


def left_over(of: Carried, window_s: float, longest_s: float = np.inf) -> tuple[Floats, Floats]:
    """What the windows of a stretch say; runs without a gap of `longest_s` and more are left out.

    Returns (W, 48) what each map leaves over in each window that counts, and (2, 2): by how much rates divided or
    multiplied by 57.3 explain the motion better (a logarithm, over all windows), and how many windows say so.
    """
    begins, count = of.begins(window_s, longest_s)
    if not len(begins):
        return np.empty((0, 48)), np.zeros((2, 2))
    turned = _turns(of, begins, count)
    seen, said = begins[turned[0]], turned.any(axis=0)
    v, sign = _on_products(), determinants()
    left = np.empty((len(seen), 48))
    for form, k in zip(_forms(of, of.products, _MIRRORS, seen, count), (sign > 0, sign < 0), strict=True):
        left[:, k] = FLOOR + np.maximum(form.reshape(-1, 81) @ v[k].T, 0.0)
    plain, *others = FLOOR + np.maximum(_forms(of, of.forces, _UNITS, begins[said], count)[..., 0, 0], 0.0)
    scaled = []
    for better, also in zip(others, turned[1:], strict=True):
        counts = (turned[0] | also)[said] & (np.minimum(better, plain) < MOST)
        scaled.append((float(np.log(plain[counts] / better[counts]).sum()), float(counts.sum())))
    return left[left.min(axis=1) < MOST], np.array(scaled)


def _turns(of: Carried, begins: Ints, count: int) -> Bools:
    """(3, W) in which windows a sensor is turned far from how it was when they began, by rates in each unit."""
    turns = of.turns[_UNITS, :]
    along = turns[:, begins[:, None] + np.arange(count)] @ turns[:, begins, :, None]
    out: Bools = np.abs(along[..., 0]).min(axis=2) < np.cos(0.5 * TURN_RAD)
    return out


def _forms(of: Carried, columns: Floats, ways: Sequence[int], begins: Ints, count: int) -> Floats:
    """(M, W, K, K) forms that give, for factors of K columns, the weighed mean square of what gravity and an arm leave
    over; `columns` (M, N, 3, 3 + K) by the rates of these numbers, of which the first three are the arm's."""
    k = of.coarse
    m = count // k
    shape = (len(ways), len(begins), m, *columns.shape[2:])
    coarse = columns.reshape(*columns.shape[:2], -1).take(begins[:, None] + k * np.arange(m), axis=1)
    # a window ends where it ends: its first and last change of rate are those to the bin beside
    coarse.reshape(shape)[:, :, 0, :, :3] += _edges(of, ways, begins) / k
    if m * k == count:
        coarse.reshape(shape)[:, :, -1, :, :3] -= _edges(of, ways, begins + count - 1) / k
    weighed = (_weights(m, round(k * of.step_s, 9)) @ coarse).reshape(*shape[:2], 3 * m, shape[4])
    square = np.swapaxes(weighed, -1, -2) @ weighed
    mixed = square[..., :3, 3:]
    known = square[..., :3, :3] + ARM_SD_M**-2 * np.eye(3)
    form: Floats = square[..., 3:, 3:] - np.swapaxes(mixed, -1, -2) @ np.linalg.solve(known, mixed)
    return form / (3 * m)


def _edges(of: Carried, ways: Sequence[int], at: Ints) -> Floats:
    """(M, W, 3, 3) what an arm feels of `Carried.bend`."""
    bend = np.multiply.outer([RATES[way] for way in ways], of.bend[at])
    return of.R[ways, :][:, at] @ cross(bend)


@lru_cache(maxsize=1)
def _on_products() -> Floats:
    """(48, 81) what each map makes of a form of the nine products: rows of its own nine numbers times themselves."""
    v = (determinants()[:, None, None] * np.swapaxes(maps(), 1, 2)).reshape(48, 9)
    return (v[:, :, None] * v[:, None, :]).reshape(48, 81)


@lru_cache(maxsize=8)
def _weights(n: int, step_s: float) -> Floats:
    """(n, n) what makes n accelerations of a bounded velocity independent and of size one, and takes a constant out:
    gravity, wherever it points.

    The velocity has the covariance s²(1 + d/τ)·exp(−d/τ) (Matérn 3/2; Rasmussen & Williams 2006, ch. 4), so its
    derivative has (s/τ)²(1 − d/τ)·exp(−d/τ).
    """
    d = np.abs(np.subtract.outer(np.arange(n), np.arange(n))) * step_s / CHANGE_S
    covariance = (SPEED_M_S / CHANGE_S) ** 2 * (1.0 - d) * np.exp(-d) + NOISE_M_S2**2 * np.eye(n)
    weights: Floats = np.linalg.inv(np.linalg.cholesky(covariance))
    gravity = weights.sum(axis=1)
    out: Floats = weights - np.outer(gravity, gravity @ weights) / (gravity @ gravity)
    return out
