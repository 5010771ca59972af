"""An hour of a session without waiting: does the delay grow?

Three sensors and a sound device, the clocks of all of them wrong by different amounts, through what could let a delay
grow: unwrapping and calibration of the counters, the merge, the mixer with its queue. What lies between works sample by
sample, keeps no time of its own, and is left out.
"""

from __future__ import annotations

import math
import struct
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from imufeedback import resources
from imufeedback.audio import BUFFER_MS, RATE_HZ, rendered
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.cues.mixer import Mixer, Request
from imufeedback.cues.schedule import CUE_LIFE_S
from imufeedback.measure.latency.motion import AIR_S, INTERVAL_S, SENSOR_WORK_S
from imufeedback.packets import Decoder, Layout, encode, parse_layout
from imufeedback.records import DeviceBlock, ImuBlock, OrientationBlock, RawPacket, frozen
from imufeedback.sounds import Sound
from imufeedback.synth.sensors import WORN
from imufeedback.timing import Merger

HOUR_S, MINUTE_S = 3600.0, 60.0
SKEW_PPM = (45.0, -50.0, 12.0)
"""Of the sensors' crystals; a usual one is within ±50."""
DEVICE_PPM = -200.0
"""Of the sound device's clock: far worse than a usual one."""
CUE_STEP_S, QUIET_STEP_S = 0.973, 9.73
"""Between two cues in the first and last minute, and in between; in step with nothing else."""
QUICK_S = 2.0
"""In a quick run packets come only so long in each minute between the first and the last one, and only the clocks
follow them: the merge, which remembers no more than its newest samples, begins anew for the last one."""
HALF_SAMPLE_S = 0.0025
LATE_EVERY = 10
"""Of the cues of the two minutes so many is handed over after its time, as all of those in between are."""
PLAY_S = 0.5
"""The mixer is run so long after a cue: no sound is longer."""
FIRST_TICK = (1 << 32) - 30_000_000
"""The counters roll over after half a minute, and again after 72 minutes."""


@dataclass
class Hour:
    """What came of it; delays from the capture of the deciding sample to the first sample of the sound."""

    first_ms: list[float] = field(default_factory=list)
    last_ms: list[float] = field(default_factory=list)
    first_over_ms: list[float] = field(default_factory=list)
    """Delays from the arrival of the last packet that the deciding sample needed. The time until that arrival swings by
    a packet's length as sensors of different clocks pass each other (20 ms at 95 ppm: every 3.5 minutes), so that two
    minutes of it are no measure of growth."""
    last_over_ms: list[float] = field(default_factory=list)
    provoked: int = 0
    """Cues handed over after their time."""
    expired: int = 0
    late: int = 0
    """Sounds that began after their time."""

    @property
    def growth_ms(self) -> float:
        """Median over what the packets allow, last minute minus first; NaN when there is nothing in one of them."""
        if not self.first_over_ms or not self.last_over_ms:
            return float("nan")
        return float(np.median(self.last_over_ms) - np.median(self.first_over_ms))

    def to_dict(self) -> dict[str, float]:
        """JSON values."""
        return {
            "first_median_ms": float(np.median(self.first_ms)),
            "last_median_ms": float(np.median(self.last_ms)),
            "growth_ms": self.growth_ms,
            "provoked": self.provoked,
            "expired": self.expired,
            "late": self.late,
        }


def hour(seed: int, *, quick: bool = False, seconds: float = HOUR_S) -> Hour:
    """Play `seconds` of session time."""
    rng = np.random.default_rng([seed, 13])
    layout = parse_layout(resources.text("layouts", "house"), "house")
    chains = [_Chain(str(segment), layout, SKEW_PPM[k]) for k, segment in enumerate(WORN)]
    sensors = [(str(one), one) for one in WORN]
    merger, merging = Merger(sensors, grid_hz=layout.rate_hz), True
    sound = _Sound()
    out = Hour()
    due_s, asked = 2.0, 0
    for at_ns, k, number in _arrivals(layout, rng, seconds, QUICK_S if quick else MINUTE_S):
        oriented_blocks = list(chains[k].feed(at_ns, number))
        if quick and MINUTE_S * 1e9 < at_ns < (seconds - MINUTE_S) * 1e9:
            merging = False
            continue
        if not merging:
            merger, merging = Merger(sensors, grid_hz=layout.rate_hz), True
        for oriented in oriented_blocks:
            for block in merger.feed(oriented):
                t_s = float(block.t_s[-1])
                if t_s < due_s:
                    continue
                outer = t_s < MINUTE_S or t_s > seconds - MINUTE_S
                due_s = t_s + (CUE_STEP_S if outer else QUIET_STEP_S)
                asked += 1
                late = not outer or asked % LATE_EVERY == 0
                true_s = t_s + float(np.mean([one.true_minus_estimated_s for one in chains]))
                heard_s = sound.play(at_ns, round(t_s * 1e9), late=late)
                out.provoked += late
                if heard_s is not None:
                    first = t_s < MINUTE_S
                    (out.first_ms if first else out.last_ms).append((heard_s - true_s) * 1e3)
                    needed_s = max(one.arrival_s(true_s) for one in chains)
                    (out.first_over_ms if first else out.last_over_ms).append((heard_s - needed_s) * 1e3)
    out.expired, out.late = sound.mixer.expired, sound.late
    return out


class _Chain:
    """Packet numbers of one sensor to oriented blocks that carry nothing but their time."""

    def __init__(self, sensor: str, layout: Layout, skew_ppm: float) -> None:
        self._sensor, self._layout = sensor, layout
        self._decoder = Decoder(sensor, layout, 0)
        self._clock = clock_of(sensor, layout, 0)
        self._rate_hz = layout.rate_hz * (1.0 + skew_ppm * 1e-6)
        still = np.zeros((layout.samples_per_packet, 3))
        self._payload = bytearray(encode(layout, 0, 0, still + 0.01, still + np.array([0.1, 0.2, 9.8])))
        self.true_minus_estimated_s = 0.0
        self._arrived: deque[tuple[float, float]] = deque(maxlen=100)
        """Of two seconds' packets: when their last sample was captured, and when they arrived."""

    def arrival_s(self, captured_s: float) -> float:
        """When the packet arrived that has the sample captured at that time, or the next one."""
        return min(
            (at_s for last_s, at_s in self._arrived if last_s >= captured_s - HALF_SAMPLE_S),
            default=self._arrived[-1][1],
        )

    def feed(self, at_ns: int, number: int) -> Iterator[OrientationBlock]:
        size = self._layout.samples_per_packet
        self._arrived.append((((number + 1) * size - 1) / self._rate_hz, at_ns * 1e-9))
        tick = FIRST_TICK + round(number * size * self._layout.nominal_step_ticks)
        struct.pack_into("<HI", self._payload, 2, number & 0xFFFF, tick & 0xFFFFFFFF)
        for block in self._decoder.feed(RawPacket(self._sensor, at_ns, bytes(self._payload))):
            for timed in self._clock.feed(block) if isinstance(block, DeviceBlock) else ():
                if isinstance(timed, ImuBlock):
                    last = number * size + size - 1
                    self.true_minus_estimated_s = last / self._rate_hz - float(timed.t_s[-1])
                    yield _oriented(timed)


def _oriented(timed: ImuBlock) -> OrientationBlock:
    n = len(timed.t_s)
    q = np.zeros((n, 4))
    q[:, 0] = 1.0
    nothing, small = frozen(np.zeros((n, 3))), frozen(np.zeros(n))
    return OrientationBlock(
        timed.sensor,
        timed.t_s,
        frozen(q),
        timed.gyr_rad_s,
        timed.acc_m_s2,
        nothing,
        frozen(np.zeros(n, np.bool_), np.bool_),
        small,
        small,
        timed.flags,
    )


def _arrivals(
    layout: Layout, rng: np.random.Generator, seconds: float, between_s: float
) -> Iterator[tuple[int, int, int]]:
    """(host_ns, sensor, packet number) in order of arrival, a minute at a time."""
    anchors = rng.uniform(0.0, INTERVAL_S, len(SKEW_PPM))
    packet_s = layout.samples_per_packet / layout.rate_hz
    for minute in range(math.ceil(seconds / MINUTE_S)):
        begin_s, end_s = minute * MINUTE_S, min((minute + 1) * MINUTE_S, seconds)
        outer = begin_s < MINUTE_S or end_s > seconds - MINUTE_S
        end_s = end_s if outer else begin_s + between_s
        rows: list[tuple[int, int, int]] = []
        for k, skew in enumerate(SKEW_PPM):
            numbers = np.arange(math.ceil(begin_s / packet_s), math.ceil(end_s / packet_s))
            ready = _ready_s(layout, numbers, skew) + rng.exponential(0.001, len(numbers))
            at = anchors[k] + np.ceil((ready - anchors[k]) / INTERVAL_S) * INTERVAL_S + AIR_S
            at = np.maximum.accumulate(at)
            rows += zip(np.rint(at * 1e9).astype(int).tolist(), [k] * len(at), numbers.tolist(), strict=True)
        yield from sorted(rows)


def _ready_s(layout: Layout, numbers: npt.NDArray[np.int64], skew_ppm: float) -> npt.NDArray[np.float64]:
    last = (numbers + 1) * layout.samples_per_packet - 1
    return last / (layout.rate_hz * (1.0 + skew_ppm * 1e-6)) + SENSOR_WORK_S


class _Sound:
    """The real mixer on a device that counts time wrongly."""

    def __init__(self) -> None:
        self.mixer = Mixer(rendered(), RATE_HZ, 1.0)
        self.late = 0
        self._out = np.zeros(RATE_HZ * BUFFER_MS // 1000, np.float32)
        self._period_ns = BUFFER_MS * 1e6 * (1.0 + DEVICE_PPM * 1e-6)

    def play(self, now_ns: int, t_ns: int, *, late: bool) -> float | None:
        """Hand over a cue; the host time (s) at which its first sample goes out. A late one comes after its time."""
        self.mixer.hand_over(Request("stalled", t_ns + round(CUE_LIFE_S * 1e9), Sound.STALLED.urgency, t_ns))
        call = math.ceil(now_ns / self._period_ns)
        if late:
            call += math.ceil(CUE_LIFE_S * 1e9 / self._period_ns) + 1
        heard_s = None
        for _ in range(round(PLAY_S * 1e3 / BUFFER_MS)):
            at_ns = round(call * self._period_ns)
            self.mixer.fill(self._out, at_ns)
            call += 1
            for started in self.mixer.started:
                heard_s = started.now_ns * 1e-9
                self.late += started.now_ns > started.request.deadline_ns
            self.mixer.started.clear()
        return heard_s
