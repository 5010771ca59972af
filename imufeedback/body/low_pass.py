"""The low pass of the calibration: a Butterworth of order 2, forth and back, so that it delays nothing.

A library has it too (`tests/body/test_low_pass.py` holds this one against it), but to load that takes seconds.
"""

from __future__ import annotations

import math

import numpy as np

from imufeedback.records import Floats

EDGE = 9
"""Samples by which both ends are carried on, turned about the last one: three times the filter's length (Gustafsson,
IEEE Trans Signal Process 1996;44:988-92, on why ends matter)."""


def zero_phase(values: Floats, cutoff_hz: float, rate_hz: float) -> Floats:
    """(N, K) of values (N, K), column by column. Raises ValueError for no more than `EDGE` samples."""
    if len(values) <= EDGE:
        raise ValueError(f"{len(values)} samples are too few to be filtered")
    before = 2.0 * values[0] - values[EDGE:0:-1]
    after = 2.0 * values[-1] - values[-2 : -EDGE - 2 : -1]
    whole = np.concatenate((before, values, after))
    columns = [_once(_once(column, cutoff_hz, rate_hz)[::-1], cutoff_hz, rate_hz)[::-1] for column in whole.T.tolist()]
    return np.array(columns).T[EDGE:-EDGE]


def _once(values: list[float], cutoff_hz: float, rate_hz: float) -> list[float]:
    """Through the filter once, as if the first value had been there for ever.

    The analogue low pass 1/(s² + √2·s + 1) at s = (1 - 1/z)/(1 + 1/z)/k, which meets its cut-off exactly.
    """
    k = math.tan(math.pi * cutoff_hz / rate_hz)
    whole = 1.0 + math.sqrt(2.0) * k + k * k
    b0 = k * k / whole
    b1, a1, a2 = 2.0 * b0, 2.0 * (k * k - 1.0) / whole, (1.0 - math.sqrt(2.0) * k + k * k) / whole
    later = (b0 - a2) * values[0]
    next_one = (b1 - a1) * values[0] + later
    out = []
    for x in values:
        y = b0 * x + next_one
        next_one = b1 * x - a1 * y + later
        later = b0 * x - a2 * y
        out.append(y)
    return out
