"""The last minutes of aligned samples, for calibration by windows."""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from imufeedback.body.stretch import OFFSET_SD_M_S2, WindowSamples
from imufeedback.records import AlignedBlock, Floats, Segment

KEEP_S = 240.0
POSTURE_S = 0.1
"""From one posture to the next; postures change little in that time. Chosen."""

ROUNDING_S = 1e-6


@dataclass
class History:
    """Blocks of the last `KEEP_S` seconds; memory bounded by that."""

    blocks: deque[AlignedBlock] = field(default_factory=deque)
    offsets_sd_m_s2: Mapping[Segment, float] = field(default_factory=dict)
    """Of the sensors whose own zero-g offset was taken off: how well it is known."""

    def add(self, block: AlignedBlock) -> None:
        self.blocks.append(block)
        while block.t_s[-1] - self.blocks[0].t_s[-1] > KEEP_S:
            self.blocks.popleft()

    def window(self, segment: Segment, window_s: tuple[float, float], rate_hz: float) -> WindowSamples:
        """Samples of one segment with begin <= t < end that are ok, with their times; empty when there are none."""
        return self.windows([segment], window_s, rate_hz)[segment]

    def windows(
        self, segments: Sequence[Segment], window_s: tuple[float, float], rate_hz: float
    ) -> dict[Segment, WindowSamples]:
        """The same of several segments."""
        begin_s, end_s = window_s
        blocks = [one for one in self.blocks if one.t_s[-1] >= begin_s and one.t_s[0] < end_s]
        return {
            one: replace(
                _stretch([block for block in blocks if one in block.segments], one, window_s, rate_hz),
                offset_sd_m_s2=self.offsets_sd_m_s2.get(one, OFFSET_SD_M_S2),
            )
            for one in segments
        }

    def postures(self, segments: Sequence[Segment], until_s: float) -> Floats:
        """(P, S, 4) orientations of `segments` up to a time, every `POSTURE_S`; of instants at which all of them are
        ok, since the last gap: over a gap a filter carries a wrong tilt on."""
        out: list[Floats] = []
        next_s = -np.inf
        for block in self.blocks:
            if block.t_s[-1] < next_s or block.t_s[0] >= until_s:
                continue
            which = [block.segments.index(one) for one in segments]
            for i in np.flatnonzero((block.t_s >= next_s) & (block.t_s < until_s) & block.ok[:, which].all(axis=1)):
                if block.t_s[i] >= next_s:
                    if block.t_s[i] > next_s + POSTURE_S:
                        out.clear()
                    out.append(block.q_es[i, which])
                    next_s = float(block.t_s[i]) + POSTURE_S - ROUNDING_S
        return np.stack(out) if out else np.empty((0, len(segments), 4))


def _stretch(
    blocks: Sequence[AlignedBlock], segment: Segment, window_s: tuple[float, float], rate_hz: float
) -> WindowSamples:
    if not blocks:
        return WindowSamples(np.empty((0, 4)), np.empty((0, 3)), np.empty((0, 3)), rate_hz)
    which = [block.segments.index(segment) for block in blocks]

    def column(name: str) -> np.ndarray:
        return np.concatenate([getattr(block, name)[:, i] for block, i in zip(blocks, which, strict=True)])

    t_s = np.concatenate([block.t_s for block in blocks])
    keep = (t_s >= window_s[0]) & (t_s < window_s[1]) & column("ok")
    return WindowSamples(column("q_es")[keep], column("gyr_rad_s")[keep], column("acc_m_s2")[keep], rate_hz, t_s[keep])
