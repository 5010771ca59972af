"""Links as systems make them: connection events at their own interval, missed ones, clumps; and sensors' clocks."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.records import DeviceBlock, Floats, ImuBlock, Ints, frozen
from imufeedback.timing import SensorClock

RATE_HZ = 200.0
PER_PACKET = 4
INTERVAL_STEP_S = 1.25e-3
"""Connection intervals come in these steps: Bluetooth Core Specification, Vol 6, Part B, 4.5.1."""
INTERVALS = (12, 48)
"""15 to 60 ms."""
MISSED = 0.05
"""Share of connection events that fail, so that what waits goes with the next; chosen."""
CRYSTAL_PPM = 40.0
RATE_TOLERANCE = 0.01
"""How far a part's sample rate is from the nominal one, at most; usual in data sheets, from memory."""
CLUMPS_S = (0.1, 0.4)
"""Now and then nothing comes for so long, and then all of it."""
MAC_S = 0.001
"""From the connection event to the program, at least; chosen."""


@dataclass(frozen=True, slots=True)
class Stream:
    """One sensor's packets of four samples."""

    true_s: Floats
    """(N,) when samples were taken, by the host's clock."""
    tick: Ints
    """(N,) µs by the sensor's clock."""
    arrival_s: Floats
    """(N / 4,)"""


def stream(rng: np.random.Generator, seconds: float, *, rate_tolerance: float = RATE_TOLERANCE) -> Stream:
    """A sensor on a link of its own, with clock, rate, interval and phase drawn."""
    interval_s = rng.integers(INTERVALS[0], INTERVALS[1] + 1) * INTERVAL_STEP_S
    skew = rng.uniform(-CRYSTAL_PPM, CRYSTAL_PPM) * 1e-6
    hz = RATE_HZ * (1 + rng.uniform(-rate_tolerance, rate_tolerance))
    packets = int(seconds * hz) // PER_PACKET
    true_s = np.arange(packets * PER_PACKET) / hz + rng.uniform(0, 0.02)
    tick = np.rint(true_s * (1 + skew) * 1e6).astype(np.int64)
    ready_s = true_s[PER_PACKET - 1 :: PER_PACKET]
    phase_s = rng.uniform(0, interval_s)
    event = np.ceil((ready_s - phase_s) / interval_s) + _missed(rng, packets)
    arrival_s = event * interval_s + phase_s
    for begin_s in rng.uniform(0, seconds, max(1, round(seconds / 15))):
        end_s = begin_s + rng.uniform(*CLUMPS_S)
        arrival_s[(arrival_s >= begin_s) & (arrival_s < end_s)] = end_s
    arrival_s = arrival_s + MAC_S + rng.exponential(0.0005, packets)
    return Stream(true_s, tick, np.maximum.accumulate(arrival_s))


def _missed(rng: np.random.Generator, count: int) -> Ints:
    """(count,) events that fail before one succeeds."""
    return rng.geometric(1 - MISSED, count) - 1


def lateness_s(one: Stream, at_s: Floats) -> Floats:
    """How late the sensor's clock puts its samples, at these true times."""
    clock = SensorClock("a", tick_unit_s=1e-6, tick_bits=32, nominal_hz=RATE_HZ, origin_ns=0)
    zeros, flags = frozen(np.zeros((PER_PACKET, 3))), frozen(np.zeros(PER_PACKET), np.uint8)
    times = []
    for k, arrival_s in enumerate(one.arrival_s):
        tick = frozen(one.tick[PER_PACKET * k : PER_PACKET * (k + 1)], np.int64)
        block = DeviceBlock("a", round(arrival_s * 1e9), tick, zeros, zeros, flags)
        times += [out.t_s for out in clock.feed(block) if isinstance(out, ImuBlock)]
    return np.interp(at_s, one.true_s, np.concatenate(times) - one.true_s)


def apart_s(seed: list[int], sensors: int, seconds: float, trials: int, *, rate_tolerance: float) -> Floats:
    """Largest difference between any two of some sensors, sampled from 20 s after connecting to the end; all trials."""
    at_s = np.arange(20.0, seconds - 1.0, 0.05)
    rng = np.random.default_rng(seed)
    late = [
        [lateness_s(stream(rng, seconds, rate_tolerance=rate_tolerance), at_s) for _ in range(sensors)]
        for _ in range(trials)
    ]
    apart: Floats = np.ptp(np.array(late), axis=1).ravel()
    return apart
