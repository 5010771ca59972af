"""A window of one sensor's samples."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from imufeedback.body.matrices import from_q
from imufeedback.records import Floats


@dataclass(frozen=True, slots=True)
class Stretch:
    """One segment's samples in one window, on an even time base."""

    q_es: Floats
    """(N, 4)"""
    gyr_rad_s: Floats
    acc_m_s2: Floats
    rate_hz: float

    def unbiased(self) -> Stretch:
        """The same with its rates as the orientations turn.

        A bias counts in the rates only after a rest of two seconds or more, which a player's sway may never give; the
        filter's own estimate is in its orientations from the first movements on. At 2 °/s it is 30° of turn in one
        fitting. The median, so that a step over lost samples does not count.
        """
        if len(self.q_es) < 2:
            return self
        R = from_q(self.q_es)
        step = np.swapaxes(R[:-1], -1, -2) @ R[1:]
        # of small turns: the skew part is the rotation vector
        skew = 0.5 * (step - np.swapaxes(step, -1, -2))
        turned = np.stack((skew[:, 2, 1], skew[:, 0, 2], skew[:, 1, 0]), axis=1) * self.rate_hz
        bias = np.median(0.5 * (self.gyr_rad_s[1:] + self.gyr_rad_s[:-1]) - turned, axis=0)
        return replace(self, gyr_rad_s=self.gyr_rad_s - bias)
