"""Finds a known sound in a recording."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import correlate

HEAD_S = 0.060
"""So much of the sound's beginning is looked for."""
ALIKE = 0.6
"""Least correlation of what is found with the sound: chance stays far below, noise of a room above."""
STRONG = 0.25
"""Least level of what is found against the sound as it was sent: an echo or a room's noise stays below."""
HEARD_SHARE = 0.02
"""The onset is where the sound first passes this part of its peak: its ramp begins in silence."""


def find(recorded: npt.NDArray[np.float32], sound: npt.NDArray[np.float32], rate_hz: int) -> int | None:
    """Index in `recorded` (N,) of the onset of `sound` (M,); None where it is not."""
    head = sound[: round(HEAD_S * rate_hz)].astype(np.float64)
    if recorded.size < head.size:
        return None
    recorded = recorded.astype(np.float64)
    match = correlate(recorded, head, mode="valid", method="fft")
    power = np.convolve(recorded**2, np.ones(head.size), "valid")
    alike = match / np.sqrt(np.maximum(power, 1e-12) * np.sum(head**2))
    found = np.flatnonzero((alike >= ALIKE) & (match >= STRONG * np.sum(head**2)))
    if not len(found):
        return None
    # The sound may say the same twice, so it is the first likeness that counts. A part of the head is like it already,
    # so the best is up to a whole head later; likeness, not match: the steady note after the ramp matches more.
    near = slice(int(found[0]), int(found[0]) + head.size)
    return near.start + int(np.argmax(alike[near])) + rise(sound)


def rise(sound: npt.NDArray[np.float32]) -> int:
    """Samples from the sound's beginning to its onset."""
    loud = np.abs(sound)
    return int(np.argmax(loud >= HEARD_SHARE * loud.max()))
