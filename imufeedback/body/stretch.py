"""A window of one sensor's samples."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.records import Floats


@dataclass(frozen=True, slots=True)
class Stretch:
    """One segment's samples in one window, on an even time base."""

    q_es: Floats
    """(N, 4)"""
    gyr_rad_s: Floats
    acc_m_s2: Floats
    rate_hz: float
