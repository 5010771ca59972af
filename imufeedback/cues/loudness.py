"""How loud a sound is: ITU-R BS.1770-5, one channel.

Peaks say little about loudness; this weighs the spectrum as the standard does. Tables 1 and 2 of the standard give the
two filters for 48 kHz, so that is the only rate here; a sound made at another rate gets the same level.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import numpy.typing as npt

RATE_HZ = 48_000
BLOCK_S = 0.400
"""Length of a gating block of the standard: what its loudness is worked out over."""
OFFSET_DB = -0.691
"""Of the standard: makes a 997 Hz sine at full scale -3.01 LKFS."""

_SHELF = ((1.53512485958697, -2.69169618940638, 1.19839281085285), (1.0, -1.69065929318241, 0.73248077421585))
_HIGH_PASS = ((1.0, -2.0, 1.0), (1.0, -1.99004745483398, 0.99007225036621))
RINGS = 8192
"""Samples after which both filters have rung out: the high pass' poles have the size 0.995, so to 1e-17."""


@cache
def _response() -> npt.NDArray[np.float64]:
    """(RINGS,) what both filters make of a single sample. A library's filters take half a second to import."""
    out = [1.0] + [0.0] * (RINGS - 1)
    for (b0, b1, b2), (_, a1, a2) in (_SHELF, _HIGH_PASS):
        one = two = 0.0
        for k, x in enumerate(out):
            out[k] = y = b0 * x + one
            one, two = b1 * x - a1 * y + two, b2 * x - a2 * y
    return np.array(out)


def loudness_lufs(samples: npt.ArrayLike) -> float:
    """Loudness of the whole of (N,) samples at `RATE_HZ`, without gating; -inf for silence."""
    values = np.asarray(samples, dtype=np.float64)
    size = len(values) + RINGS
    weighted = np.fft.irfft(np.fft.rfft(values, size) * np.fft.rfft(_response(), size), size)[: len(values)]
    power = float(np.mean(np.square(weighted)))
    return OFFSET_DB + 10.0 * float(np.log10(power)) if power > 0.0 else -np.inf
