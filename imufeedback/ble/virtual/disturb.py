"""A fault script's faults on the packets of one sensor: ``(deliver_ns, payload)`` in, the same out, in order of time.

Every fault is a filter of its own, in the script's order. It answers each packet with what arrives because of it, never
earlier than it was due.
"""

from __future__ import annotations

import heapq
import itertools
import math
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imufeedback.ble.virtual import faults as f
from imufeedback.packets import Layout
from imufeedback.packets.wire import Wire, wire

Packet = tuple[int, bytes]
Answer = Callable[[int, bytes], list[Packet]]


def disturbed(payloads: Iterator[Packet], script: f.FaultScript, layout: Layout, *names: str) -> Iterator[Packet]:
    """The packets of the sensor with these names, with all faults that concern it."""
    for k, fault in enumerate(script.of(*names)):
        rng = np.random.default_rng([script.seed, k, zlib.crc32(names[0].encode())])
        answer = _answer(fault, layout, rng)
        if answer is not None:
            payloads = _in_order(payloads, answer)
    return payloads


def _in_order(payloads: Iterator[Packet], answer: Answer) -> Iterator[Packet]:
    waiting: list[tuple[int, int, bytes]] = []
    number = itertools.count()
    for deliver_ns, payload in payloads:
        for at_ns, changed in answer(deliver_ns, payload):
            heapq.heappush(waiting, (max(at_ns, deliver_ns), next(number), changed))
        while waiting and waiting[0][0] <= deliver_ns:
            at_ns, _, ready = heapq.heappop(waiting)
            yield at_ns, ready
    while waiting:
        at_ns, _, ready = heapq.heappop(waiting)
        yield at_ns, ready


def _answer(fault: f.Fault, layout: Layout, rng: np.random.Generator) -> Answer | None:
    match fault:
        case f.Loss():
            return _by_chance(fault, rng, lambda _at_ns, _payload: [])
        case f.Duplicates():
            after_ns = round(fault.after_s * 1e9)
            return _by_chance(fault, rng, lambda at_ns, payload: [(at_ns, payload), (at_ns + after_ns, payload)])
        case f.Swap():
            return _Swapped(fault, rng, 2 * layout.samples_per_packet / layout.rate_hz)
        case f.Garbled():
            return _by_chance(fault, rng, lambda at_ns, payload: [(at_ns, payload[: len(payload) - 5])])
        case f.Clumps():
            step_ns = round(fault.interval_s * 1e9)
            return _during(fault, lambda _begin_s, at_ns, payload: [(-(-at_ns // step_ns) * step_ns, payload)])
        case f.Stall():
            return _during(fault, lambda begin_s, at_ns, payload: [(_end_ns(fault, begin_s, at_ns), payload)])
        case f.Silence():
            return _during(fault, lambda _begin_s, _at_ns, _payload: [])
        case f.Reboot():
            return _Rebooted(fault, layout)
        case f.ClockDrift() | f.Saturation() | f.Stuck() | f.WrongRange() | f.WrongAxes():
            return _Changed(fault, layout)
    return None


def _by_chance(fault: f._Random, rng: np.random.Generator, then: Answer) -> Answer:
    def answer(at_ns: int, payload: bytes) -> list[Packet]:
        hit = fault.begin_s(at_ns * 1e-9) is not None and rng.random() < fault.share
        return then(at_ns, payload) if hit else [(at_ns, payload)]

    return answer


@dataclass
class _Swapped:
    """A packet waits for its successor and follows it at once, as when two threads hand over; but not for long."""

    fault: f.Swap
    rng: np.random.Generator
    wait_s: float
    waiting: Packet | None = None

    def __call__(self, at_ns: int, payload: bytes) -> list[Packet]:
        before, self.waiting = self.waiting, None
        if before is None:
            hit = self.fault.begin_s(at_ns * 1e-9) is not None and self.rng.random() < self.fault.share
            if hit:
                self.waiting = (at_ns, payload)
                return []
            return [(at_ns, payload)]
        if at_ns - before[0] > self.wait_s * 1e9:
            return [(at_ns, before[1]), (at_ns, payload)]
        return [(at_ns, payload), (at_ns + 500_000, before[1])]


def _during(fault: f._Stretch, then: Callable[[float, int, bytes], list[Packet]]) -> Answer:
    def answer(at_ns: int, payload: bytes) -> list[Packet]:
        begin_s = fault.begin_s(at_ns * 1e-9)
        return [(at_ns, payload)] if begin_s is None else then(begin_s, at_ns, payload)

    return answer


def _end_ns(fault: f.Stall, begin_s: float, at_ns: int) -> int:
    return at_ns if fault.to_s is None else round((begin_s + fault.to_s - fault.from_s) * 1e9)


@dataclass
class _Bytes:
    """Reads and writes the fields of a packet."""

    layout: Layout

    def __post_init__(self) -> None:
        self.form: Wire = wire(self.layout)
        self.names = self.form.header_names

    def is_whole(self, payload: bytes) -> bool:
        """False for what another fault has cut: there is nothing in it to change."""
        body = len(payload) - self.layout.header_bytes
        return body > 0 and body % self.layout.sample_bytes == 0

    def header(self, payload: bytes) -> list[int]:
        return list(self.form.header.unpack_from(payload))

    def samples(self, payload: bytes) -> np.ndarray[Any, Any]:
        return np.frombuffer(payload, self.form.sample, offset=self.layout.header_bytes).copy()

    def joined(self, header: list[int], samples: np.ndarray[Any, Any]) -> bytes:
        return self.form.header.pack(*header) + samples.tobytes()

    def shift(self, header: list[int], samples: np.ndarray[Any, Any], ticks: int, packets: int = 0) -> None:
        """Move the counters, modulo what the layout says."""
        if "sequence" in self.names:
            k = self.names.index("sequence")
            header[k] = (header[k] + packets) % self.layout.sequence_numbers
        if "tick" in self.names:
            k = self.names.index("tick")
            header[k] = (header[k] + ticks) % self.layout.counter_modulus
        else:
            samples["tick"] = self.layout.around(samples["tick"].astype(np.int64) + ticks)

    def first(self, header: list[int], samples: np.ndarray[Any, Any]) -> tuple[int, int]:
        """Packet number and first tick."""
        sequence = header[self.names.index("sequence")] if "sequence" in self.names else 0
        tick = header[self.names.index("tick")] if "tick" in self.names else int(samples["tick"][0])
        return sequence, tick


class _Rebooted:
    """Counters begin at 0 after every reboot."""

    def __init__(self, fault: f.Reboot, layout: Layout) -> None:
        self._fault = fault
        self._bytes = _Bytes(layout)
        self._boot = 0
        self._begin: tuple[int, int] | None = None

    def __call__(self, at_ns: int, payload: bytes) -> list[Packet]:
        t_s = (at_ns + 1) * 1e-9 - self._fault.away_s
        boot = sum(1 for _ in self._fault.times_s(t_s))
        if boot == 0 or not self._bytes.is_whole(payload):
            return [(at_ns, payload)]
        header, samples = self._bytes.header(payload), self._bytes.samples(payload)
        if boot != self._boot or self._begin is None:
            self._boot, self._begin = boot, self._bytes.first(header, samples)
        self._bytes.shift(header, samples, -self._begin[1], -self._begin[0])
        return [(at_ns, self._bytes.joined(header, samples))]


@dataclass
class _Changed:
    """Other values, or another clock, during a stretch."""

    fault: f.ClockDrift | f.Saturation | f.Stuck | f.WrongRange | f.WrongAxes
    layout: Layout
    stuck: dict[float, Any] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self._bytes = _Bytes(self.layout)

    def __call__(self, at_ns: int, payload: bytes) -> list[Packet]:
        t_s = at_ns * 1e-9
        begin_s = self.fault.begin_s(t_s)
        outside = begin_s is None and not isinstance(self.fault, f.ClockDrift)
        if outside or not self._bytes.is_whole(payload):
            return [(at_ns, payload)]
        header, samples = self._bytes.header(payload), self._bytes.samples(payload)
        match self.fault:
            case f.ClockDrift():
                ticks = self.fault.ppm * 1e-6 * self._drifted_s(t_s) / self.layout.counter.unit_s
                self._bytes.shift(header, samples, round(ticks))
            case f.Saturation():
                self._clip("gyr", samples, self.fault.gyr_deg_s, math.radians(1.0))
                self._clip("acc", samples, self.fault.acc_g, 9.80665)
            case f.Stuck():
                self._freeze(samples, begin_s or 0.0)
            case f.WrongRange():
                self._stretch("gyr", samples, self.fault.gyr)
                self._stretch("acc", samples, self.fault.acc)
            case f.WrongAxes():
                self._mix("gyr", samples, self.fault.gyr)
                self._mix("acc", samples, self.fault.acc)
        return [(at_ns, self._bytes.joined(header, samples))]

    def _drifted_s(self, t_s: float) -> float:
        """Seconds inside the stretches so far."""
        fault = self.fault
        if t_s <= fault.from_s:
            return 0.0
        length_s = math.inf if fault.to_s is None else fault.to_s - fault.from_s
        if fault.every_s is None:
            return min(t_s - fault.from_s, length_s)
        rounds, rest_s = divmod(t_s - fault.from_s, fault.every_s)
        return rounds * length_s + min(rest_s, length_s)

    def _columns(self, kind: str) -> list[str]:
        return [f"{kind}_{axis}" for axis in "xyz"]

    def _clip(self, kind: str, samples: np.ndarray[Any, Any], limit: float | None, si: float) -> None:
        """Values beyond the limit stand at the end of the declared range, as from a part set to less than it says."""
        if limit is None:
            return
        scale = abs(self._bytes.form.scale[0 if kind == "gyr" else 3])
        k = 0 if kind == "gyr" else 3
        most = min(self._bytes.form.limit[k] / scale, self._bytes.form.highest[k])
        for column in self._columns(kind):
            raw = samples[column].astype(np.float64)
            beyond = np.abs(raw) >= limit * si / scale
            samples[column] = np.where(beyond, np.sign(raw) * most, raw)

    def _freeze(self, samples: np.ndarray[Any, Any], begin_s: float) -> None:
        first = self.stuck.setdefault(begin_s, samples[0].copy())
        for column in self._columns("gyr") + self._columns("acc"):
            samples[column] = first[column]

    def _mix(self, kind: str, samples: np.ndarray[Any, Any], axes: tuple[str, str, str]) -> None:
        was = {axis: samples[f"{kind}_{axis}"].astype(np.float64) for axis in "xyz"}
        for column, axis in zip(self._columns(kind), axes, strict=True):
            raw = -was[axis[-1]] if axis.startswith("-") else was[axis]
            if samples[column].dtype.kind != "f":
                raw = np.minimum(raw, np.iinfo(samples[column].dtype).max)  # the least whole number has no opposite
            samples[column] = raw

    def _stretch(self, kind: str, samples: np.ndarray[Any, Any], factor: float) -> None:
        for column in self._columns(kind):
            raw = samples[column].astype(np.float64) * factor
            if samples[column].dtype.kind != "f":
                ends = np.iinfo(samples[column].dtype)
                raw = np.clip(np.rint(raw), ends.min, ends.max)
            samples[column] = raw
