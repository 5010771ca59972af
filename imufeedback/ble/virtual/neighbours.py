"""A range full of people: sensors of the same kind that belong to others, and would stream to whoever asks."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from imufeedback.ble.virtual.bench import Quirk, in_order, payloads
from imufeedback.ble.virtual.sensor import VirtualSensor
from imufeedback.packets import Layout

ADVERTISING_MS = 100.0
"""As the profile asks for."""
SILENT_EVERY = 4
"""One in so many does not announce its serial number."""


def strangers(layout: Layout, count: int, seed: int = 1, seconds: float = 600.0) -> list[VirtualSensor]:
    """Sensors of other people, near and far. Their names are those that the maker gives to all."""
    rng = np.random.default_rng([seed, 20])
    return [
        VirtualSensor(
            "IMU",
            f"{rng.integers(16**6):06X}-{k:03d}",
            _in_time(layout, 100 + k, seconds),
            layout,
            announces=k % SILENT_EVERY != SILENT_EVERY - 1,
            signal_dbm=int(rng.integers(-95, -55)),
            advertising_ms=ADVERTISING_MS,
        )
        for k in range(count)
    ]


def _in_time(layout: Layout, number: int, seconds: float) -> Iterator[tuple[int, bytes]]:
    yield from in_order(payloads(layout, number, Quirk(), seconds))
