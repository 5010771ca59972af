"""Aligned samples summed over 40 ms: what is enough to recognise a movement of the whole body."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from imufeedback.body.matrices import from_q
from imufeedback.records import AlignedBlock, Bools, Floats

TICK_S = 0.04


@dataclass(frozen=True, slots=True)
class SensorTick:
    """S sensors over one tick; NaN where a sensor was not there."""

    t_s: float
    """Its last step."""
    R_es: Floats
    """(S, 3, 3) in the middle."""
    gyr_rad_s: Floats
    """(S, 3) mean."""
    acc_m_s2: Floats
    """(S, 3) mean."""
    there: Bools
    """(S,)"""


@dataclass
class Ticker:
    """Makes ticks of blocks of any size; they end at multiples of `TICK_S` on the grid."""

    every: int
    waiting: list[AlignedBlock] = field(default_factory=list)

    def feed(self, block: AlignedBlock, grid_hz: float) -> list[SensorTick]:
        if self.waiting and block.t_s[0] - self.waiting[-1].t_s[-1] > 1.5 / grid_hz:
            self.waiting = []  # a break in the session
        self.waiting.append(block)
        first = round(float(self.waiting[0].t_s[0]) * grid_hz)
        count = sum(len(one.t_s) for one in self.waiting)
        ends = range((-first - 1) % self.every + 1, count + 1, self.every)
        if not ends:
            return []
        t_s, q, gyr, acc, ok = (
            np.concatenate([getattr(one, name) for one in self.waiting])
            for name in ("t_s", "q_es", "gyr_rad_s", "acc_m_s2", "ok")
        )
        out = [_tick(t_s, q, gyr, acc, ok, max(end - self.every, 0), end) for end in ends]
        self.waiting = [] if ends[-1] == count else [_after(block, count - ends[-1])]
        return out


def _tick(t_s: Floats, q: Floats, gyr: Floats, acc: Floats, ok: Bools, begin: int, end: int) -> SensorTick:
    there = np.asarray(ok[begin:end].all(axis=0))
    R = from_q(q[(begin + end) // 2])
    rate, force = gyr[begin:end].mean(axis=0), acc[begin:end].mean(axis=0)
    if not there.all():
        R[~there], rate[~there], force[~there] = np.nan, np.nan, np.nan
    return SensorTick(float(t_s[end - 1]), R, rate, force, there)


def _after(block: AlignedBlock, count: int) -> AlignedBlock:
    """The last steps of a block."""
    keep = slice(len(block.t_s) - count, None)
    return AlignedBlock(
        block.segments,
        block.t_s[keep],
        block.q_es[keep],
        block.gyr_rad_s[keep],
        block.acc_m_s2[keep],
        block.rest[keep],
        block.inclination_sd_rad[keep],
        block.heading_sd_rad[keep],
        block.ok[keep],
        block.saturated[keep],
    )
