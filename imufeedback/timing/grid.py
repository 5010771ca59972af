"""The samples of several sensors at the times of one grid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from imufeedback import recursions
from imufeedback.quaternions import by_vector, product, unit
from imufeedback.records import Bools, Floats, Ints

BRIDGE_S = 0.040
"""Longest stretch between two samples that is interpolated; inside a longer one the sensor is not ok."""
PREDICT_S = 0.020
"""How far a late sensor is carried on by its last rate; after that it is not ok. What a changing rate misses grows with
the square of the time."""

WIDTH = 14
"""Of a sensor's row: orientation (4), and what is mixed (10)."""
GYR, ACC, INCLINATION_SD, HEADING_SD, REST, SATURATED = slice(0, 3), slice(3, 6), 6, 7, 8, 9
"""Columns of the latter."""
TINY_S = 1e-9
_CONSTANTS = np.array([TINY_S, BRIDGE_S + TINY_S, PREDICT_S + TINY_S])
"""In the order of `gridded` of the compiled form."""


def on_the_grid(
    t_s: Floats,
    times_s: Floats,
    rows: Floats,
    begins: Sequence[int],
    counts: Sequence[int],
    limits: Ints,
    ends: Sequence[int],
) -> tuple[Floats, Floats, Bools]:
    """(N, S, 4) orientations, (N, S, 10) what is mixed, and (N, S) where they are known, at the times `t_s` (N,).

    `rows` (M, 14) at `times_s` (M,) hold `counts` (S,) samples of each sensor from `begins` (S,) on; of them `limits`
    (R, S) were there for the steps up to `ends` (R,). Between two samples the turn goes from one to the other in part;
    past the last its rate carries it on.
    """
    shape = len(t_s), len(counts)
    if recursions.core is not None:
        q_es, mixed, known = np.empty((*shape, 4)), np.empty((*shape, WIDTH - 4)), np.empty(shape)
        there = np.array(begins, float), np.array(counts, float), limits.astype(float), np.array(ends, float)
        out = q_es, mixed, known
        recursions.core.gridded(*shape, len(times_s), len(ends), _CONSTANTS, t_s, times_s, rows, *there, *out)
        return q_es, mixed, known > 0.0
    limits = limits.repeat(np.diff([0, *ends]), axis=0)
    own = (times_s[begin : begin + count] for begin, count in zip(begins, counts, strict=True))
    at = np.stack([one.searchsorted(t_s + TINY_S, side="right") for one in own], axis=1)
    at = np.minimum(at, limits) - 1
    place = _place(t_s, at, at < limits - 1, times_s, np.maximum(at, 0) + np.array(begins))
    a = rows[place.at]
    b = rows[place.at + (place.part > 0.0)]
    q_es, mixed = _slerp(a[..., :4], b[..., :4], place.part), a[..., 4:] + place.part[..., None] * (b - a)[..., 4:]
    if place.since_s.any():
        carried = place.since_s > 0.0
        q_es[carried] = _turned(a[carried][:, :4], a[carried][:, 4:][:, GYR] * place.since_s[carried][:, None])
    return q_es, mixed, place.ok


class _Places(NamedTuple):
    """Where the grid times lie among the sensors' samples; each (N, S)."""

    at: npt.NDArray[np.intp]
    """Row at or before each."""
    part: Floats
    """Part of the way to the next row; 0 where there is none yet."""
    since_s: Floats
    """How far past the last row; 0 where there is a next one."""
    ok: Bools


def _place(
    t_s: Floats, at: npt.NDArray[np.intp], between: Bools, times_s: Floats, row: npt.NDArray[np.intp]
) -> _Places:
    """`at` (N, S) sample at or before each grid time, -1 before the first; `between` where there is a next one; `row`
    where it stands in `times_s` and in the rows."""
    begun = at >= 0
    between = between & begun
    past_s = t_s[:, None] - times_s[row]
    span_s = np.where(between, np.maximum(times_s[row + between] - times_s[row], TINY_S), 1.0)
    part = np.where(between, np.maximum(past_s, 0.0) / span_s, 0.0)
    on_it = past_s <= TINY_S
    ok = begun & np.where(between, (span_s <= BRIDGE_S + TINY_S) | on_it, past_s <= PREDICT_S + TINY_S)
    since_s = np.where(begun & ~between & ~on_it, past_s, 0.0)
    return _Places(row, part, since_s, ok)


def _slerp(qa: Floats, qb: Floats, f: Floats) -> Floats:
    """(..., 4) orientation at the part f of the way from a to b, the short way round (q and -q are one rotation)."""
    cosine = (qa * qb).sum(axis=-1)
    # the hair's breadth keeps 0/0 away where both are the same; it cancels in the norm
    angle = np.arccos(np.minimum(np.abs(cosine), 1.0)) + 1e-9
    wa = np.sin((1.0 - f) * angle)
    wb = np.sin(f * angle) * np.copysign(1.0, cosine)
    out = wa[..., None] * qa + wb[..., None] * qb
    return unit(out)


def _turned(q: Floats, vector: Floats) -> Floats:
    """(N, 4) orientations turned by (N, 3) rotation vectors in the body's frame."""
    return unit(product(q, by_vector(vector)))
