"""When each cue was captured, arrived, decided, handed over and heard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from imufeedback.audio import RATE_HZ
from imufeedback.conduct.sensor_clock import clock_of
from imufeedback.cues.waveforms import SOUNDS, render
from imufeedback.measure.latency.measure import DelayTrace
from imufeedback.measure.latency.motion import RadioStream
from imufeedback.measure.latency.onset import find
from imufeedback.packets import Decoder, Layout
from imufeedback.records import DeviceBlock, ImuBlock, RawPacket

Array = npt.NDArray[np.float64]
PARTS = ("radio", "engine", "hand_over", "output", "end_to_end")
"""``radio``: the deciding sample's capture to the arrival of the packet that decided; ``engine``: to the decision;
``hand_over``: to the callback that took the cue; ``output``: to the onset in the recording."""
MEASURED = "stalled"
"""The sound that is measured: its time is that of the sample that decided it."""
BEFORE_S, AFTER_S = 0.005, 0.480
"""Where its onset is looked for, from the callback that took it: the next one comes later."""


@dataclass(frozen=True, slots=True)
class CueTimes:
    """One cue; host time in ns."""

    captured_ns: float
    arrived_ns: int
    decided_ns: int
    taken_ns: int
    heard_ns: float

    def parts_ms(self) -> dict[str, float]:
        at = (self.captured_ns, self.arrived_ns, self.decided_ns, self.taken_ns, self.heard_ns)
        steps = [(b - a) * 1e-6 for a, b in pairwise(at)]
        return dict(zip(PARTS, [*steps, (at[-1] - at[0]) * 1e-6], strict=True))


@dataclass(frozen=True, slots=True)
class RunDelays:
    """What came of one run."""

    cues: list[CueTimes]
    missing: int
    """Cues that were taken by the device but are not in the recording."""
    late: int
    """Cues that were taken after their deadline."""
    expired: int
    """Cues that were dropped because their deadline had passed."""
    engine_ms: Array
    """(P,) every packet: arrival to everybody told."""


def find_cues(trace: DelayTrace) -> RunDelays:
    """Follow every measured cue through a run."""
    capture = _Capture(trace)
    sound = render(MEASURED, RATE_HZ) * np.float32(trace.level)
    taken = {one.request.tag: one for one in trace.started if one.request.sound == MEASURED}
    found, missing = [], 0
    for cue, decided_ns, packet in trace.cues:
        if cue.sound != MEASURED or packet is None:
            continue
        started = taken.get(trace.begin_ns + round(cue.t_s * 1e9))
        if started is None:
            continue
        heard_ns = _onset_ns(trace, sound, started.now_ns)
        if heard_ns is None:
            missing += 1
            continue
        captured_ns = capture.host_ns(cue.t_s)
        found.append(CueTimes(captured_ns, packet.host_ns, decided_ns, started.now_ns, heard_ns))
    late = sum(one.now_ns > one.request.deadline_ns for one in trace.started)
    engine = [(one.done_ns - one.packet.host_ns) * 1e-6 for one in trace.steps if one.packet is not None]
    return RunDelays(found, missing, late, trace.totals.expired + trace.expired, np.array(engine))


def _onset_ns(trace: DelayTrace, sound: npt.NDArray[np.float32], taken_ns: int) -> float | None:
    low, high = np.searchsorted(trace.recorded_ns, [taken_ns - BEFORE_S * 1e9, taken_ns + AFTER_S * 1e9])
    at = find(trace.recorded[low:high], sound, RATE_HZ)
    return None if at is None else float(trace.recorded_ns[low + at])


class _Capture:
    """Session time, which the clocks estimate from arrivals, back to the instant at which the motion really was."""

    def __init__(self, trace: DelayTrace) -> None:
        self._origin_ns = trace.origin_ns
        packets = [one.packet for one in trace.steps if one.packet is not None]
        self._maps = [_map(one, trace, packets) for one in trace.streams]

    def host_ns(self, t_s: float) -> float:
        """Mean over the sensors: each has a clock of its own, and they agree to a few milliseconds."""
        true_s = np.mean([np.interp(t_s, estimated, true) for estimated, true in self._maps])
        return float(self._origin_ns + true_s * 1e9)


def _map(stream: RadioStream, trace: DelayTrace, packets: list[RawPacket]) -> tuple[Array, Array]:
    """(N,) estimated session times of one sensor's samples, and when they were really taken."""
    layout: Layout = trace.layout
    decoder = Decoder(stream.serial, layout, trace.begin_ns)
    clock = clock_of(stream.serial, layout, trace.begin_ns, delay_s=layout.delay_s)
    estimated, true = [], []
    first = stream.samples.clock.first_tick
    for packet in packets:
        if packet.sensor != stream.serial:
            continue
        for block in decoder.feed(packet):
            if not isinstance(block, DeviceBlock):
                continue
            numbers = np.rint(layout.around(block.tick - first) / layout.nominal_step_ticks)
            for timed in clock.feed(block):
                if isinstance(timed, ImuBlock):
                    estimated.append(timed.t_s)
                    true.append(stream.samples.sample_times(numbers))
    return np.concatenate(estimated), np.concatenate(true)


def spread(values_ms: Array) -> dict[str, float]:
    """Median, 95th and 99th percentile, largest, and jitter (standard deviation); NaN where there is nothing."""
    if not len(values_ms):
        return dict.fromkeys(("median_ms", "p95_ms", "p99_ms", "max_ms", "jitter_ms"), float("nan"))
    median, p95, p99 = np.percentile(values_ms, (50, 95, 99))
    return {
        "median_ms": float(median),
        "p95_ms": float(p95),
        "p99_ms": float(p99),
        "max_ms": float(np.max(values_ms)),
        "jitter_ms": float(np.std(values_ms)),
    }


def table(found: RunDelays) -> Mapping[str, Mapping[str, float]]:
    """Every part's spread over the cues, and the engine's over all packets."""
    rows = [one.parts_ms() for one in found.cues]
    by_part = {part: spread(np.array([row[part] for row in rows])) for part in PARTS}
    return by_part | {"engine_all_packets": spread(found.engine_ms)}


def recording_facts(trace: DelayTrace) -> dict[str, float]:
    """Peak (dBFS), mean, and largest step from sample to sample as a part of what the sounds' slopes allow."""
    samples = trace.recorded.astype(np.float64)
    peak = float(np.abs(samples).max(initial=0.0))
    allowed = max(float(np.abs(np.diff(render(name, RATE_HZ))).max()) for name in SOUNDS) * trace.level
    step = float(np.abs(np.diff(samples)).max(initial=0.0))
    return {
        "peak_dbfs": 20.0 * float(np.log10(max(peak, 1e-9))),
        "mean": float(np.mean(samples)) if len(samples) else float("nan"),
        "step_ratio": step / allowed,
    }
