"""A window of one sensor's samples."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from imufeedback.quaternions import inverse, product
from imufeedback.records import Floats

OFFSET_SD_M_S2 = 0.22
"""Zero-g offset of an accelerometer whose own is not known: data sheets' 20 to 30 mg, from memory."""
GAP_STEPS = 1.5
"""Between two samples that are further apart than so many periods others are missing. Chosen: steps on the grid are
whole periods."""


@dataclass(frozen=True, slots=True)
class WindowSamples:
    """One segment's samples in one window."""

    q_es: Floats
    """(N, 4)"""
    gyr_rad_s: Floats
    acc_m_s2: Floats
    rate_hz: float
    t_s: Floats = field(default_factory=lambda: np.empty(0))
    """(N,) rising; left out when the samples follow each other without a gap."""
    offset_sd_m_s2: float = OFFSET_SD_M_S2
    """Of the zero-g offset that is still in the samples: little, when the sensor's own was found and taken off."""

    def __post_init__(self) -> None:
        if not len(self.t_s):
            object.__setattr__(self, "t_s", np.arange(len(self.q_es)) / self.rate_hz)

    @property
    def pieces(self) -> list[slice]:
        """Rows that follow each other without a gap."""
        cuts = [0, *(np.flatnonzero(np.diff(self.t_s) > GAP_STEPS / self.rate_hz) + 1).tolist(), len(self.t_s)]
        return [slice(a, b) for a, b in pairwise(cuts) if b > a]

    def rows(self, which: slice | np.ndarray) -> WindowSamples:
        """Some of the samples."""
        return replace(
            self,
            q_es=self.q_es[which],
            gyr_rad_s=self.gyr_rad_s[which],
            acc_m_s2=self.acc_m_s2[which],
            t_s=self.t_s[which],
        )

    def unbiased(self) -> WindowSamples:
        """The same with its rates as the orientations turn.

        A bias counts in the rates only after a rest of two seconds or more, which a player's sway may never give; the
        filter's own estimate is in its orientations from the first movements on. At 2 °/s it is 30° of turn in one
        calibration. The median, so that a step over lost samples does not count.
        """
        if len(self.q_es) < 2:
            return self
        step = product(inverse(self.q_es[:-1]), self.q_es[1:])
        # of small turns: the sine about each axis
        turned = 2.0 * step[:, :1] * step[:, 1:] * self.rate_hz
        bias = np.median(0.5 * (self.gyr_rad_s[1:] + self.gyr_rad_s[:-1]) - turned, axis=0)
        return replace(self, gyr_rad_s=self.gyr_rad_s - bias)


def paired(a: WindowSamples, b: WindowSamples) -> tuple[WindowSamples, WindowSamples]:
    """Samples that both have, by their times: what only one of them lost is missing in both."""
    step_a, step_b = (np.round(one.t_s * one.rate_hz).astype(np.int64) for one in (a, b))
    if np.array_equal(step_a, step_b):
        return a, b
    _, of_a, of_b = np.intersect1d(step_a, step_b, assume_unique=True, return_indices=True)
    return a.rows(of_a), b.rows(of_b)
