"""The low pass of the calibration: a Butterworth of order 2, forth and back, so that it delays nothing.

A library has it too (`tests/body/test_low_pass.py` holds this one against it), but to load that takes seconds.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from imufeedback.records import Floats

EDGE = 9
"""Samples by which both ends are carried on, turned about the last one: three times the filter's length (Gustafsson,
IEEE Trans Signal Process 1996;44:988-92, on why ends matter)."""
BLOCK = 64
"""Samples that go together. Chosen."""


def zero_phase(values: Floats, cutoff_hz: float, rate_hz: float) -> Floats:
    """(N, K) of values (N, K), column by column. Raises ValueError for no more than `EDGE` samples."""
    if len(values) <= EDGE:
        raise ValueError(f"{len(values)} samples are too few to be filtered")
    before = 2.0 * values[0] - values[EDGE:0:-1]
    after = 2.0 * values[-1] - values[-2 : -EDGE - 2 : -1]
    whole = np.concatenate((before, values, after))
    forth = _once(whole, cutoff_hz, rate_hz)
    return _once(forth[::-1], cutoff_hz, rate_hz)[::-1][EDGE:-EDGE]


def _once(values: Floats, cutoff_hz: float, rate_hz: float) -> Floats:
    """Through the filter once, as if the first values had been there for ever.

    What comes out of a block of samples is linear in them and in the filter's two memories before it: only these go
    from block to block one by one.
    """
    own, of_memory, to_memory, onward, at_rest = _block(cutoff_hz, rate_hz)
    count = -(-len(values) // BLOCK)
    blocks = np.zeros((count, BLOCK, values.shape[1]))
    blocks.reshape(count * BLOCK, -1)[: len(values)] = values
    memory = np.empty((count, 2, values.shape[1]))
    memory[0] = at_rest[:, None] * values[0]
    new = to_memory @ blocks
    for k in range(count - 1):
        memory[k + 1] = onward @ memory[k] + new[k]
    out: Floats = (own @ blocks + of_memory @ memory).reshape(count * BLOCK, -1)
    return out[: len(values)]


@lru_cache(maxsize=8)
def _block(cutoff_hz: float, rate_hz: float) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """What a block gives: by its own samples (B, B), by the memories before it (B, 2); what it does to them: by its
    samples (2, B), by themselves (2, 2); and the memories (2,) after a one that was there for ever.

    The analogue low pass 1/(s² + √2·s + 1) at s = (1 - 1/z)/(1 + 1/z)/k, which meets its cut-off exactly.
    """
    k = math.tan(math.pi * cutoff_hz / rate_hz)
    whole = 1.0 + math.sqrt(2.0) * k + k * k
    b0 = k * k / whole
    b1, a1, a2 = 2.0 * b0, 2.0 * (k * k - 1.0) / whole, (1.0 - math.sqrt(2.0) * k + k * k) / whole
    step, new = np.array([[-a1, 1.0], [-a2, 0.0]]), np.array([b1 - a1 * b0, b0 - a2 * b0])
    powers = [np.eye(2)]
    for _ in range(BLOCK):
        powers.append(step @ powers[-1])
    of_memory = np.array([one[0] for one in powers[:BLOCK]])
    response = np.append(b0, of_memory[:-1] @ new)
    behind = np.subtract.outer(np.arange(BLOCK), np.arange(BLOCK))
    own = np.where(behind >= 0, response[np.abs(behind)], 0.0)
    to_memory = np.array([one @ new for one in powers[BLOCK - 1 :: -1]]).T
    return own, of_memory, to_memory, powers[BLOCK], np.array([b1 - a1 + b0 - a2, b0 - a2])
