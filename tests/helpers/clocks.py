"""A sensor with a counter of its own, and a radio that delays its packets."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from imufeedback.records import DeviceBlock, Flag, Floats, ImuBlock, frozen
from imufeedback.timing import SensorClock


def device_block(
    tick: Sequence[int], host_s: float, *, sensor: str = "a", flags: Sequence[int] | None = None
) -> DeviceBlock:
    n = len(tick)
    return DeviceBlock(
        sensor,
        round(host_s * 1e9),
        frozen(tick, np.int64),
        frozen(np.tile([0.0, 0.0, 1.0], (n, 1))),
        frozen(np.tile([0.0, 0.0, 9.81], (n, 1))),
        frozen(np.zeros(n) if flags is None else flags, np.uint8),
    )


def clock(
    *, unit_s: float = 1e-6, bits: int = 32, hz: float = 200.0, sensor: str = "a", delay_s: float = 0.0
) -> SensorClock:
    return SensorClock(sensor, tick_unit_s=unit_s, tick_bits=bits, nominal_hz=hz, origin_ns=0, delay_s=delay_s)


def packets(
    seconds: float,
    *,
    hz: float = 200.0,
    per_packet: int = 4,
    skew_ppm: float = 0.0,
    delays_s: Floats | float = 0.005,
    first_tick: int = 0,
    bits: int = 32,
    unit_s: float = 1e-6,
    begin_s: float = 0.0,
) -> Iterator[DeviceBlock]:
    """Packets of a sensor that samples at true rate `hz` and whose counter runs too fast by `skew_ppm`.

    The first sample is taken at `begin_s`; a packet arrives its delay after its last sample.
    """
    count = int(seconds * hz) // per_packet
    delays = np.broadcast_to(delays_s, count)
    for k in range(count):
        true_s = (k * per_packet + np.arange(per_packet)) / hz
        ticks = np.rint(true_s * (1.0 + skew_ppm * 1e-6) / unit_s).astype(np.int64) + first_tick
        yield device_block(ticks & ((1 << bits) - 1), begin_s + true_s[-1] + delays[k])


def feed(stage: SensorClock, blocks) -> list:
    return [out for block in blocks for out in stage.feed(block)]


def times(outputs: Sequence[object]) -> Floats:
    return np.concatenate([one.t_s for one in outputs if isinstance(one, ImuBlock)])


def steps(outputs: Sequence[object]) -> Floats:
    return np.concatenate([one.dt_s for one in outputs if isinstance(one, ImuBlock)])


def has(outputs: Sequence[object], kind: type) -> list:
    return [one for one in outputs if isinstance(one, kind)]


RESTART = int(Flag.RESTART)
