"""An accelerometer that is inverted as a whole, shown by the sensor next to it on the body.

Such a sensor takes down for up. All it tells is then a true motion seen in a mirror, so it contradicts nothing of its
own: it turns the other way about the vertical than its neighbour does, and moves to the other side. Two segments that
share a joint centre feel one acceleration there, whatever the two arms to it; one of the two headings makes them agree,
as they are or with one of them mirrored. Both signs of evidence are added up as logarithms of odds.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import vqf

from imufeedback.body.axes import AxisVerdict
from imufeedback.body.joints import JOINTS
from imufeedback.body.matrices import cross, from_q
from imufeedback.body.rest_bias import bias, whole_rows
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Floats, Ints, Segment

BIN_S = 0.08
PART_BINS = 6
"""Turns about the vertical are compared over half a second (calibration notes)."""
PIECE_BINS, LEAST_BINS = 250, 12
"""A piece of so many bins has one heading: over more of them gyroscopes drift apart. A shorter one says nothing."""
TURN_SD_RAD = float(np.deg2rad(2.0))
"""Of a turn over a part: smaller ones count for little."""
ACC_SD_M_S2, SPIN_SD_M = 0.15, 0.03
"""Of a bin: tilt, and soft tissue per rad/s². Chosen."""
ARM_SD_M, OFFSET_SD_M_S2 = 0.2, 0.25
"""The arms to the joint are not known before a calibration, and the zero-g offsets are those of data sheets."""
ALIKE = 8.0
"""So many numbers say no more than one independent one would, as a logarithm of odds: neighbouring bins err alike."""
LEAST = 0.02
"""Of the stated variance, a bin: better than that nothing is explained but by chance."""
LAG = 4
TURN_SHARE = 0.125
"""Weight of a part's turn about the vertical: in squats knees go in and out, and thigh and pelvis turn oppositely."""
EVIDENCE, OF_KNEES = 1.5, 10.0
"""Logarithm of the odds that accuse. True hips of seeded golfers whose pelvis stands still lie above -0.6, of people
between 0.7 (squats with gaps) and 102; true knees of golfers above -4.2, of people at 24 and more: a knee is bent in
one plane, which a mirror hardly changes."""
HEADINGS = 48
DRIFTS_RAD_S = np.deg2rad(np.arange(-3.0, 3.5, 1.0))
"""Of one heading against the other: two gyroscopes whose bias is not known yet."""


@dataclass(frozen=True, slots=True)
class Binned:
    """One sensor in a frame with z up: what a joint's acceleration and a turn about the vertical are made of."""

    at: Floats
    """(N,) numbers of its bins, rising; whole numbers."""
    acc: Floats
    """(N, 3, 7) m/s²; and how that grows with an arm to the joint, and with an offset."""
    turn: Floats
    """(N,) about the vertical, rad"""
    weight: Floats
    """(N,) of one over the standard deviation, squared"""


def inverted(samples: Mapping[Segment, tuple[Floats, Floats, Floats]]) -> dict[Segment, AxisVerdict]:
    """Sensors whose accelerometer must be inverted, from what all worn ones measured in the same time: (N,) s, (N, 3)
    rad/s, (N, 3) m/s². A pair in which either could be it names both. Empty where nothing shows it."""
    return accused(odds(samples))


def accused(found: Mapping[tuple[Segment, Segment], float], sure: float = 1.0) -> dict[Segment, AxisVerdict]:
    """The same from the odds; `sure` times the evidence that would do."""
    against = {pair for pair, value in found.items() if value < -sure * _enough(pair)}
    cleared = {one for pair, value in found.items() if value > sure * _enough(pair) for one in pair}
    out: dict[Segment, AxisVerdict] = {}
    for pair in against:
        often = [one for one in pair if sum(one in other for other in against) > 1]
        guilty = often or [one for one in pair if one not in cleared] or list(pair)
        for one in guilty:
            out[one] = _verdict(one, guilty)
    return out


def _enough(pair: tuple[Segment, Segment]) -> float:
    return EVIDENCE if Segment.PELVIS in pair else OF_KNEES


def _verdict(one: Segment, guilty: list[Segment]) -> AxisVerdict:
    unsure = " (or its neighbour's is)" if len(guilty) > 1 else ""
    what = f"its accelerometer is inverted{unsure}: one moves like the other seen in a mirror"
    return AxisVerdict("inverted", what, "negate all three of acc in the layout's axes or in the file")


def odds(samples: Mapping[Segment, tuple[Floats, Floats, Floats]]) -> dict[tuple[Segment, Segment], float]:
    """Of each joint's two sensors, the logarithm of the odds that they have the same up."""
    pairs = [(one.proximal, one.distal) for one in JOINTS if one.proximal in samples and one.distal in samples]
    binned = {one: seen(*samples[one]) for one in {one for pair in pairs for one in pair}}
    return {(a, b): _same_up(binned[a], binned[b]) for a, b in pairs}


def seen(t_s: Floats, gyr: Floats, acc: Floats) -> Binned:
    """One sensor's samples in bins, without those at gaps."""
    t_s, gyr, acc = whole_rows(t_s, gyr, acc)
    acc = np.ascontiguousarray(acc)
    empty = Binned(*(np.empty(shape) for shape in ((0,), (0, 3, 7), (0,), (0,))))
    if len(t_s) < 2:
        return empty
    passed = np.diff(t_s)
    period_s = float(np.median(passed))
    if not 0 < period_s < BIN_S:
        return empty
    rate = np.ascontiguousarray(gyr - bias(t_s, gyr, acc))
    edges = [0, *(np.flatnonzero(passed > 2.5 * period_s) + 1), len(t_s)]
    q = np.concatenate(
        [vqf.VQF(period_s).updateBatch(rate[b:e], acc[b:e])["quat6D"] for b, e in itertools.pairwise(edges)]
    )
    R = from_q(q)
    spin, across = np.gradient(rate, period_s, axis=0), cross(rate)
    swing = np.concatenate((acc[..., None], cross(spin) + across @ across), axis=-1)
    felt = np.concatenate((R @ swing, R), axis=-1)
    turn, bend = np.einsum("ni,ni->n", rate, R[:, 2]), np.sqrt(np.einsum("ni,ni->n", spin, spin))
    number = np.floor(t_s / BIN_S + 1e-6)
    begins = np.flatnonzero(np.diff(number, prepend=-1.0) > 0)
    count = np.diff(begins, append=len(t_s))
    full = count > 0.8 * BIN_S / period_s
    mean = np.add.reduceat(felt, begins, axis=0)[full] / count[full, None, None]
    mean[:, 2, 0] -= STANDARD_GRAVITY_M_S2
    turn, bend = (np.add.reduceat(one, begins)[full] / count[full] for one in (turn, bend))
    return Binned(number[begins][full], mean, turn * BIN_S, 1.0 / (ACC_SD_M_S2**2 + (SPIN_SD_M * bend) ** 2))


# ── two of them ──────────────────────────────────────────────────────────────────────────────────────────────────


def _same_up(a: Binned, b: Binned) -> float:
    """Logarithm of the odds; both from the acceleration that they share, and from their turns about the vertical."""
    _, i, j = np.intersect1d(a.at, b.at, assume_unique=True, return_indices=True)
    shared, alike, against, parts = 0.0, TURN_SD_RAD**2, TURN_SD_RAD**2, 0
    for piece in _pieces(a.at[i]):
        k, m = i[piece], j[piece]
        shared += _evidence(*_disagreement(a, b, k, m), 3 * len(k))
        x, y = (_parts(turn) for turn in (a.turn[k], b.turn[m]))
        moved = np.abs(x) + np.abs(y) > 2 * TURN_SD_RAD
        alike, against = alike + float(((x + y)[moved] ** 2).sum()), against + float(((x - y)[moved] ** 2).sum())
        parts += int(moved.sum())
    return shared + TURN_SHARE * parts * float(np.log(alike / against))


def _evidence(plain: float, mirrored: float, rows: int) -> float:
    """Logarithm of the odds of two weighed square sums: by their ratio, as what is left over may be larger than stated;
    and no more than the stated noise allows, or a joint that stands still would show a mirror by nothing."""
    least = LEAST * rows
    by_ratio = rows * float(np.log((mirrored + least) / (plain + least))) / ALIKE
    by_noise = 0.5 * (mirrored - plain) / ALIKE
    return by_ratio if abs(by_ratio) < abs(by_noise) else by_noise


def _parts(turn: Floats) -> Floats:
    """Turns over parts of half a second, without what a gyroscope's bias adds to all of them."""
    n = len(turn) // PART_BINS
    sums: Floats = turn[: n * PART_BINS].reshape(n, PART_BINS).sum(axis=1)
    out: Floats = sums - np.median(sums)
    return out


def _pieces(at: Floats) -> list[slice]:
    """Bins one after the other, without a gap and not too many."""
    edges = [0, *(np.flatnonzero(np.diff(at) > 1.5) + 1).tolist(), len(at)]
    out = []
    for begin, end in itertools.pairwise(edges):
        out += [slice(k, min(k + PIECE_BINS, end)) for k in range(begin, end, PIECE_BINS)]
    return [one for one in out if one.stop - one.start >= LEAST_BINS]


def _disagreement(a: Binned, b: Binned, k: Ints, m: Ints) -> tuple[float, float]:
    """Weighed square sum of what the joint's two accelerations differ by, at the heading and its drift that suit best:
    with b as it is, and with b as it would be with its accelerometer inverted.

    Both filters' "up" wanders with the gyroscopes' bias, so gravity leaks into the difference: slowly, as a line.
    """
    w = np.sqrt(1.0 / (1.0 / a.weight[k] + 1.0 / b.weight[m]))[LAG:, None]
    A, B = a.acc[k], b.acc[m]
    angle = np.multiply.outer(DRIFTS_RAD_S, (a.at[k] - a.at[k].mean()) * BIN_S)[..., None]
    c, s = np.cos(angle), np.sin(angle)
    x, y, z = (_changed(A[:, row]) * w for row in range(3))
    u, v = (_changed(one) * w for one in (c * B[:, 0] - s * B[:, 1], s * B[:, 0] + c * B[:, 1]))
    up = _changed(B[:, 2]) * w
    of_a, of_b = x.T @ x + y.T @ y + z.T @ z, _moments(u, u) + _moments(v, v) + up.T @ up
    along, beside, xv, yu = _moments(x, u), _moments(y, v), _moments(x, v), _moments(y, u)
    # inverted, it is seen in a mirror: u the other way round, up to the sign of arms that are not known
    both = np.stack((along + beside, beside - along)), np.stack((yu - xv, -yu - xv))
    plain, mirrored = _least(of_a, of_b, *both, z.T @ up).tolist()
    return max(plain, 0.0), max(mirrored, 0.0)


def _changed(x: Floats) -> Floats:
    """Over `LAG` bins: a filter's "up" wanders with the gyroscope's bias, and gravity leaks into the acceleration, but
    slowly."""
    out: Floats = x[..., LAG:, :] - x[..., :-LAG, :]
    return out


def _moments(a: Floats, b: Floats) -> Floats:
    """(D, 7, 7) sums over the bins of `a` (…, N, 7) times `b` (D, N, 7)."""
    out: Floats = np.swapaxes(a, -1, -2) @ b
    return out


def _least(of_a: Floats, of_b: Floats, cosine: Floats, sine: Floats, level: Floats) -> Floats:
    """(2,) least square sums of the differences, over all drifts and headings; of a's and b's columns the first is
    known, the others' factors are solved for.

    From the sums of products `of_a` (7, 7) and `of_b` (D, 7, 7) of each one's columns, and of a's with b's: what goes
    with the heading's cosine and sine (2, D, 7, 7), and what does not (7, 7).
    """
    # a's factors do not hang on the heading: they go first
    root = np.linalg.cholesky(of_a[1:, 1:] + np.diag(_PRIOR))
    away = np.linalg.solve(root, np.concatenate((of_a[1:, :1], -np.eye(6)), axis=1))
    flat, c, s = (away[:, 1:] @ part[..., 1:, :] for part in (level, cosine, sine))
    flat[:, 0] += away[:, 0]
    whole = of_b + np.diag(np.concatenate(([of_a[0, 0]], _PRIOR)))
    forms = (
        whole - _with(flat, flat) / 2.0 - _cornered(level[0]),
        -_with(c, flat) - _cornered(cosine[..., 0, :]),
        -_with(s, flat) - _cornered(sine[..., 0, :]),
        *(-_with(c, c) / 2.0, -_with(s, s) / 2.0, -_with(c, s)),
    )
    left = np.stack(np.broadcast_arrays(*forms), axis=-1).transpose(2, 3, 0, 1, 4).reshape(-1, 6) @ _OF_HEADING
    left = left.reshape(7, 7, 2, -1)
    for k in range(6, 0, -1):  # one of b's factors after the other
        left = left[:k, :k] - left[:k, k, None] * (left[k, :k] / left[k, k])
    out: Floats = left[0, 0].min(axis=1)
    return out


def _with(a: Floats, b: Floats) -> Floats:
    """(..., 7, 7) sums of products both ways."""
    product = np.swapaxes(a, -1, -2) @ b
    out: Floats = product + np.swapaxes(product, -1, -2)
    return out


def _cornered(row: Floats) -> Floats:
    """(..., 7, 7) with these numbers (..., 7) in the first row, and in the first column."""
    out = np.zeros((*row.shape, 7))
    out[..., 0, :] += row
    out[..., :, 0] += row
    return out


_HEADINGS_RAD = np.linspace(-np.pi, np.pi, HEADINGS, endpoint=False)
_COS, _SIN = np.cos(_HEADINGS_RAD), np.sin(_HEADINGS_RAD)
_OF_HEADING = np.stack((np.ones(HEADINGS), _COS, _SIN, _COS**2, _SIN**2, _COS * _SIN))
_PRIOR = np.repeat([ARM_SD_M**-2, OFFSET_SD_M_S2**-2], 3)
