"""A range full of people: sensors of the same kind that belong to others, and would stream to whoever asks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.packets import Layout, encode

ADVERTISING_MS = 100.0
"""As the profile asks for."""
SILENT_EVERY = 4
"""One in so many does not announce its serial number, and one cannot be reached."""


def strangers(layout: Layout, count: int, seed: int = 1, seconds: float = 600.0) -> list[VirtualSensor]:
    """Sensors of other people, near and far. Their names are those that the maker gives to all."""
    rng = np.random.default_rng([seed, 20])
    return [
        VirtualSensor(
            "IMU",
            f"{rng.integers(16**6):06X}-{k:03d}",
            _at_rest(layout, 0.001 * k, seconds),
            layout,
            answers=k % SILENT_EVERY != 1,
            announces=k % SILENT_EVERY != SILENT_EVERY - 1,
            signal_dbm=int(rng.integers(-95, -55)),
            advertising_ms=ADVERTISING_MS,
        )
        for k in range(count)
    ]


def _at_rest(layout: Layout, offset_s: float, seconds: float) -> Iterator[tuple[int, bytes]]:
    """A sensor that lies in a bag: always the same samples, so that twenty of them cost next to nothing."""
    size = layout.samples_per_packet
    gyr, acc = np.zeros((size, 3)), np.tile([0.0, 0.0, STANDARD_GRAVITY_M_S2], (size, 1))
    step_s = size / layout.rate_hz
    for k in range(int(seconds / step_s)):
        ticks = np.rint((k * size + np.arange(size)) * layout.nominal_step_ticks).astype(np.int64)
        yield round((offset_s + (k + 1) * step_s) * 1e9), encode(layout, k, int(ticks[0]), gyr, acc, ticks)
