"""Orientation by integrating gyroscopes alone.

No accelerometer pulls on it, so between two sensors it errs only by what the gyroscopes err: slowly. That is what the
joint constraint needs; a tilt-corrected orientation jitters by half a degree within a stride.
"""

from __future__ import annotations

import numpy as np
import vqf

from imufeedback import recursions
from imufeedback.body.matrices import from_q
from imufeedback.records import Floats


class Strapdown:
    """Integrates the rates of several sensors, sampled together every `step_s`. Has no memory.

    The work is done by VQF with all estimation off and no accelerometer (a zero one is passed over, as documented):
    compiled, one call for all sensors and samples. A few samples after the other go through our own compiled form.
    """

    def __init__(self, step_s: float) -> None:
        self._step_s = step_s
        # half a step: a step turns by the mean of its two ends, and their sum need not be halved
        self._vqf = vqf.VQF(0.5 * step_s, motionBiasEstEnabled=False, restBiasEstEnabled=False)

    def turned(self, rates: Floats, before: Floats) -> Floats:
        """(S, N, 3, 3) orientation after each sample, in the frame of the sensor just before them.

        `rates` (S, N, 3) rad/s in sensor frames; `before` (S, 3) the samples before them. A step turns by the mean of
        the rates at its two ends: the rate at its end alone would put it half a step ahead.
        """
        ends = np.concatenate((before[:, None], rates), axis=1)
        # one sensor after the other in one run: each then begins where the one before it ended
        q = self.quaternions((ends[:, 1:] + ends[:, :-1]).reshape(-1, 3))
        R = from_q(q).reshape(*rates.shape, 3)
        R[1:] = np.swapaxes(R[:-1, -1:], -1, -2) @ R[1:]
        return R

    def quaternions(self, sums: Floats) -> Floats:
        """(N, 4) after each step, by the sums of the rates at its two ends (N, 3) rad/s."""
        self._vqf.resetState()
        q: Floats = self._vqf.updateBatch(sums, np.zeros((len(sums), 3)))["quat6D"]
        return q

    def carried(self, rates: Floats, before: Floats, S: Floats) -> Floats:
        """(S, N, 3, 3) the same in the frame of `S` (S, 3, 3), the orientations just before; `rates` (N, S, 3)."""
        n, sensors, _ = rates.shape
        if recursions.core is None:
            return S[:, None] @ self.turned(rates.swapaxes(0, 1), before)
        out = np.empty((sensors, n, 3, 3))
        given = (np.ascontiguousarray(one) for one in (rates, before, S))
        recursions.core.carried(sensors, n, self._step_s, *given, out)
        return out
