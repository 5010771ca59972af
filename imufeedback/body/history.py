"""The last minutes of aligned samples, for fitting by windows."""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from imufeedback.body.stretch import Stretch
from imufeedback.records import AlignedBlock, Floats, Segment

KEEP_S = 240.0
POSTURE_S = 0.1
"""From one posture to the next; postures change little in that time. Chosen."""


@dataclass
class History:
    """Blocks of the last `KEEP_S` seconds; memory bounded by that."""

    blocks: deque[AlignedBlock] = field(default_factory=deque)

    def add(self, block: AlignedBlock) -> None:
        self.blocks.append(block)
        while block.t_s[-1] - self.blocks[0].t_s[-1] > KEEP_S:
            self.blocks.popleft()

    def window(self, segment: Segment, window_s: tuple[float, float], rate_hz: float) -> Stretch:
        """Samples of one segment with begin <= t < end that are ok, with their times; empty when there are none."""
        begin_s, end_s = window_s
        parts: list[tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]] = []
        for block in self.blocks:
            if block.t_s[-1] < begin_s or block.t_s[0] >= end_s or segment not in block.segments:
                continue
            i = block.segments.index(segment)
            keep = (block.t_s >= begin_s) & (block.t_s < end_s) & block.ok[:, i]
            parts.append((block.q_es[keep, i], block.gyr_rad_s[keep, i], block.acc_m_s2[keep, i], block.t_s[keep]))
        if not parts:
            return Stretch(np.empty((0, 4)), np.empty((0, 3)), np.empty((0, 3)), rate_hz)
        q, gyr, acc, t_s = (np.concatenate(column) for column in zip(*parts, strict=True))
        return Stretch(q, gyr, acc, rate_hz, t_s)

    def postures(self, segments: Sequence[Segment], until_s: float) -> Floats:
        """(P, S, 4) orientations of `segments` up to a time, every `POSTURE_S`; of instants at which all of them are
        ok."""
        out: list[Floats] = []
        next_s = -np.inf
        for block in self.blocks:
            if block.t_s[-1] < next_s or block.t_s[0] >= until_s:
                continue
            which = [block.segments.index(one) for one in segments]
            for i in np.flatnonzero((block.t_s >= next_s) & (block.t_s < until_s)):
                if block.t_s[i] >= next_s and block.ok[i, which].all():
                    out.append(block.q_es[i, which])
                    next_s = float(block.t_s[i]) + POSTURE_S
        return np.stack(out) if out else np.empty((0, len(segments), 4))
