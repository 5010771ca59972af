"""Samples -> packets, as a sensor would send them: own clock, own packet numbers, radio delay.

Everything is made in stretches of a few seconds when it is asked for. Times are nanoseconds from the script's start.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import msgspec
import numpy as np
import numpy.typing as npt

from imufeedback.packets import Layout, encode
from imufeedback.records import Floats, Ints, Item, RawPacket, Segment
from imufeedback.synth.errors import SensorErrors
from imufeedback.synth.golfer import BODY
from imufeedback.synth.presets import SensorModel
from imufeedback.synth.script import Script
from imufeedback.synth.sensors import WORN, ImuPlace, default_places
from imufeedback.synth.worn_sensor import WornSensor

STRETCH_S = 5.0
RADIO_DELAY_S = (0.004, 0.018)
"""Last sample of a packet to its arrival: two connection intervals of 7 ms and some work; chosen, no source."""
MAX_SKEW_PPM = 50.0
"""Of an ordinary crystal with its temperature; data sheets' usual figure, from memory."""


@dataclass(frozen=True, slots=True)
class DeviceClock:
    """A sensor's counters at the script's start, and how much too fast its clock runs."""

    first_tick: int = 0
    first_sequence: int = 0
    skew_ppm: float = 0.0
    """Positive: the sensor counts more than it should, so its samples come closer together than its ticks say."""


@dataclass(frozen=True, slots=True)
class SensorStream:
    """What one sensor sends during a script; iterate over it for ``(deliver_ns, payload)``, in order of both.

    The first sample is taken at 0.0 s; the last packet is the last full one. Iterating again gives the same again.
    """

    serial: str
    script: Script
    place: ImuPlace
    layout: Layout
    clock: DeviceClock
    delay_s: tuple[float, float]
    """Least and greatest radio delay; uniform between."""
    seed: int
    model: SensorModel | None = None
    """Errors of the sensor and of how it is worn; None is a perfect one on the bone."""
    rate_error: float = 0.0
    """Part by which the sensor samples too fast, while its counter goes right."""

    @property
    def segment(self) -> Segment:
        return self.place.segment

    @property
    def packets(self) -> int:
        """How many packets there are."""
        samples = int(self.script.duration_s * self._true_rate_hz) + 1
        return samples // self.layout.samples_per_packet

    @property
    def _true_rate_hz(self) -> float:
        return self.layout.rate_hz * (1.0 + self.clock.skew_ppm * 1e-6) * (1.0 + self.rate_error)

    def sample_times(self, samples: npt.ArrayLike) -> Floats:
        """True instants (s) of samples with these numbers, counted from 0."""
        return np.asarray(samples, dtype=np.float64) / self._true_rate_hz

    def ticks(self, samples: npt.ArrayLike) -> Ints:
        """Counter of samples with these numbers, not yet wrapped."""
        counted = np.rint(np.asarray(samples) * (self.layout.nominal_step_ticks / (1.0 + self.rate_error)))
        return self.clock.first_tick + counted.astype(np.int64)

    def __iter__(self) -> Iterator[tuple[int, bytes]]:
        rng = np.random.default_rng([self.seed, 5, BODY.index(self.segment)])
        worn = WornSensor(self.script, self.place, self.model, rate_hz=self.layout.rate_hz)
        stretch = max(1, round(STRETCH_S * self.layout.rate_hz / self.layout.samples_per_packet))
        delivered_ns = 0
        for first in range(0, self.packets, stretch):
            count = min(stretch, self.packets - first)
            arrivals = self._arrivals(first, rng.uniform(*self.delay_s, count))
            arrivals = np.maximum.accumulate(np.maximum(arrivals, delivered_ns))
            delivered_ns = int(arrivals[-1])
            yield from zip(arrivals.tolist(), self._payloads(worn, first, count), strict=True)

    def _arrivals(self, first: int, delay_s: Floats) -> Ints:
        last_samples = (first + np.arange(len(delay_s)) + 1) * self.layout.samples_per_packet - 1
        return np.rint((self.sample_times(last_samples) + delay_s) * 1e9).astype(np.int64)

    def _payloads(self, worn: WornSensor, first: int, count: int) -> Iterator[bytes]:
        size = self.layout.samples_per_packet
        samples = np.arange(first * size, (first + count) * size)
        gyr, acc = worn.measure(samples, self.sample_times(samples))
        ticks = self.ticks(samples)
        for k in range(count):
            part = slice(k * size, (k + 1) * size)
            sequence = self.clock.first_sequence + first + k
            yield encode(self.layout, sequence, int(ticks[part.start]), gyr[part], acc[part], ticks[part])


def serial_of(segment: Segment) -> str:
    """The invented serial number of the sensor on a segment."""
    return f"SYN-{BODY.index(segment) + 1:04d}"


def sensor_streams(
    script: Script, layout: Layout, segments: Sequence[Segment] = WORN, *, model: SensorModel | None = None
) -> list[SensorStream]:
    """A stream for every segment, with clocks, packet numbers, mountings and errors from the script's seed."""
    return [_stream(script, layout, one, _drawn_clock(script.seed, one), RADIO_DELAY_S, model) for one in segments]


def exact_items(
    script: Script,
    layout: Layout,
    segments: Sequence[Segment] = WORN,
    *,
    rate_hz: float | None = None,
    start_ns: int = 0,
    model: SensorModel | None = None,
) -> Iterator[Item]:
    """The packets of true clocks without radio delay, in order of arrival; `layout` should be the lossless one.

    `rate_hz` replaces the layout's. ``host_ns`` is `start_ns` plus the instant of the packet's last sample, and
    `start_ns` is session time 0. With a `model` the samples have its errors; the clocks stay true.
    """
    layout = layout if rate_hz is None else msgspec.structs.replace(layout, rate_hz=rate_hz)
    streams = [_stream(script, layout, one, DeviceClock(), (0.0, 0.0), model) for one in segments]
    return raw_packets(streams, start_ns)


def _stream(
    script: Script,
    layout: Layout,
    segment: Segment,
    clock: DeviceClock,
    delay_s: tuple[float, float],
    model: SensorModel | None,
) -> SensorStream:
    place = default_places(script.seed, (segment,))[segment]
    rate_error = 0.0 if model is None else SensorErrors(model, script.seed, segment, layout.rate_hz).rate_error
    return SensorStream(serial_of(segment), script, place, layout, clock, delay_s, script.seed, model, rate_error)


def raw_packets(streams: Sequence[SensorStream], start_ns: int = 0) -> Iterator[RawPacket]:
    """All packets of some sensors in order of arrival."""
    return heapq.merge(*(_labelled(one, start_ns) for one in streams), key=lambda packet: packet.host_ns)


def _labelled(stream: SensorStream, start_ns: int) -> Iterator[RawPacket]:
    for deliver_ns, payload in stream:
        yield RawPacket(stream.serial, start_ns + deliver_ns, payload)


def _drawn_clock(seed: int, segment: Segment) -> DeviceClock:
    rng = np.random.default_rng([seed, 6, BODY.index(segment)])
    return DeviceClock(
        first_tick=int(rng.integers(1 << 32)),
        first_sequence=int(rng.integers(1 << 16)),
        skew_ppm=float(rng.uniform(-MAX_SKEW_PPM, MAX_SKEW_PPM)),
    )
