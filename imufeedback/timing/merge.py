"""All sensors on one time grid."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

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

# one row of a sensor's buffer: t, q (4), gyr (3), acc (3), inclination sd, heading sd, rest, saturated
_T, _Q, _G, _A, _SI, _SH, _REST, _SAT = 0, slice(1, 5), slice(5, 8), slice(8, 11), 11, 12, 13, 14
_WIDTH = 15
_SATURATED = np.uint8(Flag.SATURATED)


@dataclass
class _State:
    rows: list[Floats]
    """One (N, 15) buffer a segment, oldest first."""
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
        self._state = _State(rows=[np.empty((0, _WIDTH)) for _ in sensors], newest_s=[-np.inf for _ in sensors])

    def feed(self, item: OrientationBlock) -> list[AlignedBlock]:
        s = self._state
        i = self._index[item.sensor]
        rows = np.empty((len(item.t_s), _WIDTH))
        rows[:, _T], rows[:, _Q], rows[:, _G], rows[:, _A] = item.t_s, item.q_es, item.gyr_rad_s, item.acc_m_s2
        rows[:, _SI], rows[:, _SH] = item.inclination_sd_rad, item.heading_sd_rad
        rows[:, _REST] = item.rest
        rows[:, _SAT] = item.flags & _SATURATED
        s.rows[i] = np.concatenate((s.rows[i], rows))
        s.newest_s[i] = float(item.t_s[-1])
        s.span_s = max(s.span_s, float(item.t_s[-1] - item.t_s[0]) + 1.0 / self._grid_hz)
        return self._release(min(s.newest_s), max(s.newest_s) - WAIT_S - s.span_s)

    def finish(self) -> list[AlignedBlock]:
        return self._release(min(self._state.newest_s), max(self._state.newest_s))

    def _release(self, complete_s: float, forced_s: float) -> list[AlignedBlock]:
        s = self._state
        until_s = max(complete_s, forced_s)
        if not np.isfinite(until_s):
            return []
        if s.next_step is None:
            begin_s = min(float(rows[0, _T]) for rows in s.rows if len(rows))
            s.next_step = int(np.ceil(begin_s * self._grid_hz - 1e-6))
        last = int(np.floor(until_s * self._grid_hz + 1e-6))
        if last < s.next_step:
            return []
        t_s = np.arange(s.next_step, last + 1) / self._grid_hz
        s.next_step = last + 1
        block = self._sample(t_s)
        for i, rows in enumerate(s.rows):
            keep = max(int(np.searchsorted(rows[:, _T], t_s[-1], side="right")) - 1, 0)
            s.rows[i] = rows[keep:]
        return [block]

    def _sample(self, t_s: Floats) -> AlignedBlock:
        """All segments at the grid times: between two samples the turn from one to the other in part; past the last,
        its rate carried on."""
        shape = (len(t_s), len(self._segments))
        a, b, since = np.full((*shape, _WIDTH), np.nan), np.full((*shape, _WIDTH), np.nan), np.zeros(shape)
        began = np.zeros(shape, dtype=bool)
        for i, rows in enumerate(self._state.rows):
            if len(rows):
                before = rows[:, _T].searchsorted(t_s + 1e-9, side="right") - 1
                began[:, i] = before >= 0
                a[:, i] = rows[np.maximum(before, 0)]
                b[:, i] = rows[np.minimum(before + 1, len(rows) - 1)]
                since[:, i] = t_s - a[:, i, _T]
        span = b[..., _T] - a[..., _T]
        between = span > 0
        f = np.where(between & began, since / np.where(between, span, 1.0), 0.0)
        mixed = a + f[..., None] * (b - a)
        q_es = _slerp(a[..., _Q], b[..., _Q], f)
        carried = began & ~between & (since > 1e-9)
        if carried.any():
            q_es[carried] = _turned(a[carried][:, _Q], a[carried][:, _G] * since[carried][:, None])
        fresh = np.where(between, span - BRIDGE_S, since - PREDICT_S) <= 1e-9
        ok = began & (fresh | (since <= 1e-9))
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
            saturated=frozen((a[..., _SAT] > 0) | ((f > 0) & (b[..., _SAT] > 0)), np.bool_),
        )


def _slerp(qa: Floats, qb: Floats, f: Floats) -> Floats:
    """(..., 4) orientation at the part f of the way from a to b, the short way round (q and -q are one rotation)."""
    dot = np.einsum("...k,...k->...", qa, qb)
    angle = np.arccos(np.minimum(np.abs(dot), 1.0))
    sine = np.sin(angle)
    tiny = sine < 1e-9
    sine = np.where(tiny, 1.0, sine)
    wa = np.where(tiny, 1.0 - f, np.sin((1.0 - f) * angle) / sine)
    wb = np.where(tiny, f, np.sin(f * angle) / sine) * np.where(dot < 0, -1.0, 1.0)
    out = wa[..., None] * qa + wb[..., None] * qb
    normal: Floats = out / np.sqrt(np.einsum("...k,...k->...", out, out))[..., None]
    return normal


def _turned(q: Floats, vector: Floats) -> Floats:
    """(N, 4) orientations turned by (N, 3) rotation vectors in the body's frame."""
    turned = Rotation.from_quat(q, scalar_first=True) * Rotation.from_rotvec(vector)
    out: Floats = turned.as_quat(scalar_first=True)
    return out
