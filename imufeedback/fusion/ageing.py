"""A calibration by hand is as good as on its day; warmer or older, the accelerometer's offset is somewhere else."""

from __future__ import annotations

import math

import msgspec

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.settings import Calibration

OFFSET_PER_K_M_S2 = 0.5e-3 * STANDARD_GRAVITY_M_S2
"""Common parts' data sheets say 0.1 to 1 mg for each kelvin; second-hand."""
OFFSET_PER_ROOT_DAY_M_S2 = 0.3e-3 * STANDARD_GRAVITY_M_S2
"""6 mg after a year. Chosen: no figure is published for parts as they are worn, dropped and charged."""
UNKNOWN_K = 10.0
"""Between a room and a range, where one of both temperatures is not told. Chosen."""
UNKNOWN_DAYS = 365.0


def aged(one: Calibration, days: float | None, temperature_c: float | None) -> Calibration:
    """The same, with what its offset is known to now: `days` later, at another temperature; None where not known."""
    days = UNKNOWN_DAYS if days is None else max(days, 0.0)
    warmer_k = UNKNOWN_K
    if temperature_c is not None and one.temperature_c is not None:
        warmer_k = abs(temperature_c - one.temperature_c)
    grown = OFFSET_PER_K_M_S2 * warmer_k, OFFSET_PER_ROOT_DAY_M_S2 * math.sqrt(days)
    return msgspec.structs.replace(one, acc_offset_sd_m_s2=math.hypot(one.acc_offset_sd_m_s2, *grown))


def offset_sd_m_s2(one: Calibration) -> float:
    """How well the zero-g offset of corrected samples is known; a scale that is off counts like one, at gravity."""
    return math.hypot(one.acc_offset_sd_m_s2, one.acc_scale_sd * STANDARD_GRAVITY_M_S2)
