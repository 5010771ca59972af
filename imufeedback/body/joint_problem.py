"""One joint's centre has one acceleration: the least squares problem that two sensors so give, for a heading.

Each side's acceleration of the joint centre in the standing pose is ``known + unknown @ x`` with the segment's unknowns
x; the two must agree once the distal side is turned by δ about the vertical. For a given δ all is linear. The sums over
the samples do not depend on δ but through its sine and cosine, so they are made once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.body.matrices import cross
from imufeedback.records import Floats

GRID = 48
"""Headings that are tried. Chosen: the cost has few harmonics (`circular`)."""
HEADINGS: Floats = np.linspace(-np.pi, np.pi, GRID, endpoint=False)
SD_FACTOR = 1.6
"""What the errors really are over what this says (80 thighs of seeded players: 1.5): bins are not independent."""
BIN_S = 0.08
ARM_SD_M = 0.05
QUIET_SD_M_S2, TURNED_SD_M_S2, SPIN_SD_M = 0.06, 0.22, 0.02
"""Of a bin: always; per radian that the sensor is turned (its gyroscope is off by 1 %, times gravity); and per rad/s²
(soft tissue, a joint that is no point). Chosen; more than for one bin alone, since neighbouring bins err alike."""
_PARTS = np.array(
    [
        [[1.0, 0.0, 0.0], [0.0, 0.0, 0.0], [0.0, 0.0, 1.0]],  # times cos δ
        [[0.0, 0.0, 1.0], [0.0, 0.0, 0.0], [-1.0, 0.0, 0.0]],  # times sin δ
        [[0.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.0]],
    ]
)
"""Of a turn about y."""


def arm_prior(offset_sd_m_s2: float) -> Floats:
    """(6,) inverse variances of a side's offset and of its arm."""
    return np.repeat([offset_sd_m_s2**-2, ARM_SD_M**-2], 3)


@dataclass(frozen=True, slots=True)
class Shared:
    """What the sensors of two neighbours show together."""

    turn_rad: float
    """By how much the distal one's forward, as fitted, is turned to the left of the proximal one's."""
    sd_rad: float
    offset: tuple[Floats, Floats]
    """(3,) m/s², segment axes: zero-g offset of the proximal accelerometer, and of the distal one's."""
    covariance: tuple[Floats, Floats]
    """(3, 3) of each."""
    energy: Floats
    """(STEPS, STEPS) -2 log likelihood by the turns of the proximal and of the distal one away from their fit
    (`facing.ANGLES`), scaled by what the best one leaves unexplained."""
    unbroken: float
    """Range of the energy from pieces that touch standing: what does not hang on how the feet were set in a gap."""


@dataclass(frozen=True, slots=True)
class SensorResidual:
    """One sensor's part of the residual, in its segment's standing axes: ``known + unknown @ x``."""

    known: Floats
    """(n, 3)"""
    unknown: Floats
    """(n, 3, k)"""
    variance: Floats
    """(n,)"""


def seen(
    S: Floats,
    rate: Floats,
    acc: Floats,
    standing: Floats,
    of_standing: Floats,
    arm: Floats,
    more: Floats | None,
    hz: float,
) -> SensorResidual:
    """Bins of one sensor.

    `S` (N, 3, 3) turn since standing, `rate` (N, 3) rad/s and `acc` (N, 3) m/s², `standing` (3,) the force that is
    taken off and `of_standing` (3, 3) what an offset adds to it, `arm` (3,) m from sensor to joint: all in segment
    axes; `more` (N, 3, m) further unknowns, `hz` the rate of samples."""
    size = max(round(BIN_S * hz), 1)
    count = len(acc) // size
    spin = np.gradient(rate, 1.0 / hz, axis=0)
    across = cross(rate)
    turned = np.arccos(np.clip((S[:, 0, 0] + S[:, 1, 1] + S[:, 2, 2] - 1.0) / 2.0, -1.0, 1.0))
    variance = QUIET_SD_M_S2**2 + (TURNED_SD_M_S2 * turned) ** 2 + SPIN_SD_M**2 * (spin**2).sum(axis=-1)

    def binned(x: Floats) -> Floats:
        out: Floats = x[: count * size].reshape(count, size, *x.shape[1:]).mean(axis=1)
        return out

    # what is the same for all samples is taken times their means
    felt = binned(S @ np.concatenate((acc[..., None], cross(spin) + across @ across), axis=-1))
    by_arm = felt[..., 1:]
    unknown = np.concatenate([of_standing - binned(S), by_arm, *([] if more is None else [binned(more)])], axis=-1)
    return SensorResidual(felt[..., 0] - standing + by_arm @ arm, unknown, binned(variance))


class Problem:
    """Both sides of the constraint, with the inverse variances `prior` (2k,) of their unknowns."""

    def __init__(self, p: SensorResidual, d: SensorResidual, prior: Floats) -> None:
        w = 1.0 / (p.variance + d.variance)
        self.rows = 3 * len(w)
        P, U, a, b = p.unknown, d.unknown, p.known, d.known
        k = len(prior) // 2
        self._squares = float(w @ (a**2).sum(axis=1) + w @ (b**2).sum(axis=1))
        # what is turned, for each part of the turn
        turned_u, turned_b = (np.einsum("xij,nj...->xni...", _PARTS, each) for each in (U, b))
        self._ab = np.array([float(w @ (a * each).sum(axis=1)) for each in turned_b])
        self._level, self._turned = np.diag(prior), np.zeros((3, 2 * k, 2 * k))
        self._level[:k, :k] += _products(P, P, w)
        self._level[k:, k:] += _products(U, U, w)
        self._turned[:, :k, k:] = -np.stack([_products(P, each, w) for each in turned_u])
        self._turned[:, k:, :k] = np.swapaxes(self._turned[:, :k, k:], 1, 2)
        self._level_y = -np.concatenate((_products(P, a, w), _products(U, b, w)))
        pb, au = [_products(P, each, w) for each in turned_b], [_products(each, a, w) for each in turned_u]
        self._turned_y = np.concatenate((pb, au), axis=1)

    def costs(self, headings: Floats) -> Floats:
        """(G,) least weighted square sum for each heading (G,)."""
        N, y, squares = self._normal(headings)
        x = np.linalg.solve(N, y[..., None])[..., 0]
        out: Floats = squares - (y * x).sum(axis=-1)
        return out

    def cost(self, heading: float) -> float:
        return float(self.costs(np.array([heading]))[0])

    def solved(self, heading: float) -> tuple[Floats, Floats]:
        """(2k,) unknowns of both sides, and their covariance; segment axes have y up."""
        N, y, _ = self._normal(np.array([heading]))
        covariance: Floats = np.linalg.inv(N[0])
        return covariance @ y[0], covariance

    def _normal(self, headings: Floats) -> tuple[Floats, Floats, Floats]:
        parts = np.stack((np.cos(headings), np.sin(headings), np.ones_like(headings)), axis=1)
        N = self._level + (parts @ self._turned.reshape(3, -1)).reshape(-1, *self._level.shape)
        return N, self._level_y + parts @ self._turned_y, self._squares - 2.0 * parts @ self._ab


def _products(a: Floats, b: Floats, w: Floats) -> Floats:
    """Sum over samples and coordinates of `a` (n, 3, k) times `b` (n, 3, ...), weighted."""
    out: Floats = np.tensordot(a * w[:, None, None], b, axes=([0, 1], [0, 1]))
    return out


def inflation(cost: float, rows: int) -> float:
    """By how much energies are to be divided: what errors really are, and what the best heading leaves unexplained.
    That counts by its square: noise alone makes energies that differ by the root of the rows (20 for 400), whatever its
    size; so joints whose rows leave three times what they should say nothing. Real ones leave 0.1 to 1.2."""
    return SD_FACTOR**2 * max(1.0, cost / rows) ** 2


def circular(energy: Floats, angles: Floats) -> Floats:
    """(A,) a curve over `HEADINGS` at other angles: it has few harmonics."""
    harmonics = np.fft.rfft(energy) / GRID
    k = np.arange(len(harmonics))
    weights = np.where((k == 0) | (k == GRID // 2), 1.0, 2.0)
    out: Floats = (np.exp(1j * k * (angles[:, None] - HEADINGS[0])) * (harmonics * weights)).sum(axis=1).real
    return out
