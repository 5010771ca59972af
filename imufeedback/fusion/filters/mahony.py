"""Mahony, Hamel & Pflimlin (IEEE Trans Autom Control 2008;53:1203-18), from the library `ahrs`, with its defaults."""

from __future__ import annotations

from typing import Any

import ahrs
import numpy as np

from imufeedback.fusion.levelling import q_from_up
from imufeedback.records import Bools, Floats


class Filter:
    """One update a sample in Python: slower than VQF by a factor of about fifty; for comparison."""

    def __init__(self, period_s: float) -> None:
        self._period_s = period_s
        self._filter = ahrs.filters.Mahony(Dt=period_s, frequency=1.0 / period_s)
        self._q: Floats | None = None

    def run(self, gyr_rad_s: Floats, acc_m_s2: Floats) -> tuple[Floats, Floats, Bools]:
        q_es = np.empty((len(gyr_rad_s), 4))
        bias = np.empty((len(gyr_rad_s), 3))
        for i, (gyr, acc) in enumerate(zip(gyr_rad_s, acc_m_s2, strict=True)):
            if self._q is None:
                self._q = q_from_up(acc)
            self._q = np.asarray(self._filter.updateIMU(self._q, gyr, acc), dtype=float)
            q_es[i] = self._q
            bias[i] = self._filter.b
        return q_es, bias, np.ones(len(gyr_rad_s), dtype=bool)

    def again(self) -> Filter:
        other = Filter(self._period_s)
        other._filter.b = self._filter.b.copy()
        return other

    @property
    def state(self) -> Any:
        return None if self._q is None else (self._q.copy(), self._filter.b.copy())

    @state.setter
    def state(self, value: Any) -> None:
        self._q = None if value is None else value[0].copy()
        self._filter.b = np.zeros(3) if value is None else value[1].copy()
