"""The clock of a sensor, from its layout."""

from __future__ import annotations

from imufeedback.packets import Layout
from imufeedback.timing import SensorClock


def clock_of(sensor: str, layout: Layout, origin_ns: int, *, delay_s: float = 0.0) -> SensorClock:
    """From the ticks of a sensor to session time, which begins at `origin_ns` of the host's clock."""
    return SensorClock(
        sensor,
        tick_unit_s=layout.counter.unit_s,
        tick_bits=layout.counter.bits,
        tick_modulus=layout.counter_modulus,
        nominal_hz=layout.rate_hz,
        origin_ns=origin_ns,
        delay_s=delay_s,
    )
