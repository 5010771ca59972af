"""VQF, the default (Laidig & Seel, Information Fusion 2023;91:187-204, doi 10.1016/j.inffus.2022.10.014)."""

from __future__ import annotations

from typing import Any

import numpy as np
import vqf

from imufeedback.records import Bools, Floats

BIAS_CLIP_DPS = 6.0


class Filter:
    """Six-axis VQF with its published default parameters but one; estimates the bias at rest and in motion.

    Its clip of the bias, 2 °/s, would refuse a part whose turn-on bias is larger: data sheets allow up to 10 °/s, and
    one part in twenty of a typical kind has more than 2 on some axis.
    """

    def __init__(self, period_s: float) -> None:
        self._period_s = period_s
        self._vqf = vqf.VQF(period_s, biasClip=BIAS_CLIP_DPS)

    def run(self, gyr_rad_s: Floats, acc_m_s2: Floats) -> tuple[Floats, Floats, Bools]:
        out = self._vqf.updateBatch(np.ascontiguousarray(gyr_rad_s), np.ascontiguousarray(acc_m_s2))
        return out["quat6D"], out["bias"], out["restDetected"]

    def again(self) -> Filter:
        bias, sigma = self._vqf.getBiasEstimate()
        other = Filter(self._period_s)
        other._vqf.setBiasEstimate(bias, sigma)
        return other

    @property
    def state(self) -> Any:
        return self._vqf.state

    @state.setter
    def state(self, value: Any) -> None:
        self._vqf.state = value
