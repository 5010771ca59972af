"""All sensors on one time grid."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import accumulate
from typing import NamedTuple

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.records import AlignedBlock, Flag, Floats, OrientationBlock, Segment, frozen
from imufeedback.stage import Stage

WAIT_S = 0.030
"""How long a step waits for a late sensor, beyond the span of one packet."""
BRIDGE_S = 0.040
"""Longest stretch between two samples that is interpolated; inside a longer one the sensor is not ok."""
PREDICT_S = 0.020
"""How far a late sensor is carried on by its last rate; after that it is not ok. What a changing rate misses grows with
the square of the time."""

# one row of a sensor's buffer: q (4), gyr (3), acc (3), inclination sd, heading sd, rest, saturated
_Q, _G, _A, _SI, _SH, _REST, _SAT = slice(0, 4), slice(4, 7), slice(7, 10), 10, 11, 12, 13
_WIDTH = 14
_SATURATED = np.uint8(Flag.SATURATED)
TINY_S = 1e-9
NOTHING = np.full((1, _WIDTH), np.nan)
"""Row of a sensor that has not begun."""


@dataclass
class _State:
    rows: list[Floats]
    """One (N, 14) buffer a segment, oldest first."""
    times_s: list[list[float]]
    """Of the rows."""
    next_step: int | None = None
    span_s: float = 0.0
    """Longest block seen: what one packet covers."""
    newest_s: list[float] = field(default_factory=list)


class Merger(Stage[OrientationBlock, AlignedBlock]):
    """Interpolates the sensors' orientations onto multiples of ``1 / grid_hz``.

    A step is released once every sensor has reached it, or after a bounded wait; a sensor without fresh samples is
    carried on by its last rate for at most 20 ms and is not ok after that, nor inside a gap of more than 40 ms.
    """

    _state: _State

    def __init__(self, sensors: Sequence[tuple[str, Segment]], *, grid_hz: float) -> None:
        self._index = {sensor: i for i, (sensor, _) in enumerate(sensors)}
        self._segments = tuple(segment for _, segment in sensors)
        self._grid_hz = grid_hz
        self._state = _State(
            rows=[NOTHING[:0] for _ in sensors],
            times_s=[[] for _ in sensors],
            newest_s=[-math.inf for _ in sensors],
        )

    def feed(self, item: OrientationBlock) -> list[AlignedBlock]:
        s = self._state
        i = self._index[item.sensor]
        times_s = item.t_s.tolist()
        rows = np.empty((len(times_s), _WIDTH))
        rows[:, _Q], rows[:, _G], rows[:, _A] = item.q_es, item.gyr_rad_s, item.acc_m_s2
        rows[:, _SI], rows[:, _SH] = item.inclination_sd_rad, item.heading_sd_rad
        rows[:, _REST], rows[:, _SAT] = item.rest, item.flags & _SATURATED
        s.rows[i] = np.concatenate((s.rows[i], rows))
        s.times_s[i] += times_s
        s.newest_s[i] = times_s[-1]
        s.span_s = max(s.span_s, times_s[-1] - times_s[0] + 1.0 / self._grid_hz)
        return self._release(min(s.newest_s), max(s.newest_s) - WAIT_S - s.span_s)

    def finish(self) -> list[AlignedBlock]:
        return self._release(min(self._state.newest_s), max(self._state.newest_s))

    def _release(self, complete_s: float, forced_s: float) -> list[AlignedBlock]:
        s = self._state
        until_s = max(complete_s, forced_s)
        if not math.isfinite(until_s):
            return []
        if s.next_step is None:
            begin_s = min(times[0] for times in s.times_s if times)
            s.next_step = math.ceil(begin_s * self._grid_hz - 1e-6)
        last = math.floor(until_s * self._grid_hz + 1e-6)
        if last < s.next_step:
            return []
        t_s = np.arange(s.next_step, last + 1) / self._grid_hz
        s.next_step = last + 1
        block = self._sample(t_s)
        for i, times in enumerate(s.times_s):
            keep = max(bisect_right(times, float(t_s[-1])) - 1, 0)
            s.rows[i] = s.rows[i][keep:]
            del times[:keep]
        return [block]

    def _sample(self, t_s: Floats) -> AlignedBlock:
        """All segments at the grid times: between two samples the turn from one to the other in part; past the last,
        its rate carried on."""
        s = self._state
        grid = t_s.tolist()
        places = [_place(times, grid) for times in s.times_s]
        begins = [0, *accumulate(max(len(times), 1) for times in s.times_s)]
        rows = np.concatenate([one if len(one) else NOTHING for one in s.rows])
        at, f, since = (np.array(column).T for column in zip(*((p.at, p.part, p.since_s) for p in places), strict=True))
        ok = np.array([p.ok for p in places]).T
        at = at + begins[:-1]
        a = rows[at]
        # a sensor's last row has none of its own after it; its part is 0
        b = rows[at + (f > 0.0)]
        mixed = a + f[..., None] * (b - a)
        q_es = _slerp(a[..., _Q], b[..., _Q], f)
        if since.any():
            carried = since > 0.0
            q_es[carried] = _turned(a[carried][:, _Q], a[carried][:, _G] * since[carried][:, None])
        return AlignedBlock(
            segments=self._segments,
            t_s=frozen(t_s),
            q_es=frozen(q_es),
            gyr_rad_s=frozen(mixed[..., _G]),
            acc_m_s2=frozen(mixed[..., _A]),
            rest=frozen(ok & (mixed[..., _REST] > 0.5), np.bool_),
            inclination_sd_rad=frozen(mixed[..., _SI]),
            heading_sd_rad=frozen(mixed[..., _SH]),
            ok=frozen(ok, np.bool_),
            saturated=frozen(mixed[..., _SAT] > 0.0, np.bool_),
        )


class _Places(NamedTuple):
    """Where the grid times lie among one sensor's samples."""

    at: list[int]
    """Row at or before each."""
    part: list[float]
    """Part of the way to the next row; 0 where there is none yet."""
    since_s: list[float]
    """How far past the last row; 0 where there is a next one."""
    ok: list[bool]


def _place(times: list[float], grid: list[float]) -> _Places:
    """Plain numbers: a packet holds a few samples."""
    out = _Places([], [], [], [])
    last = len(times) - 1
    for t in grid:
        k = bisect_right(times, t + TINY_S) - 1
        part, past, ok = 0.0, 0.0, k >= 0
        if 0 <= k < last:
            span = times[k + 1] - times[k]
            part = max(t - times[k], 0.0) / span
            ok = span <= BRIDGE_S + TINY_S or t - times[k] <= TINY_S
        elif k >= 0 and t - times[k] > TINY_S:
            past = t - times[k]
            ok = past <= PREDICT_S + TINY_S
        out.at.append(max(k, 0))
        out.part.append(part)
        out.since_s.append(past)
        out.ok.append(ok)
    return out


def _slerp(qa: Floats, qb: Floats, f: Floats) -> Floats:
    """(..., 4) orientation at the part f of the way from a to b, the short way round (q and -q are one rotation)."""
    cosine = (qa * qb).sum(axis=-1)
    # the hair's breadth keeps 0/0 away where both are the same; it cancels in the norm
    angle = np.arccos(np.minimum(np.abs(cosine), 1.0)) + 1e-9
    wa = np.sin((1.0 - f) * angle)
    wb = np.sin(f * angle) * np.copysign(1.0, cosine)
    out = wa[..., None] * qa + wb[..., None] * qb
    normal: Floats = out / np.sqrt((out * out).sum(axis=-1))[..., None]
    return normal


def _turned(q: Floats, vector: Floats) -> Floats:
    """(N, 4) orientations turned by (N, 3) rotation vectors in the body's frame."""
    turned = Rotation.from_quat(q, scalar_first=True) * Rotation.from_rotvec(vector)
    out: Floats = turned.as_quat(scalar_first=True)
    return out
