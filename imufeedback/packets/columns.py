"""Many packets of one sensor read at once, column by column, where each one plainly follows the one before.

`Order` and `PacketPlacer` say what a stream is; here is only asked where nothing of all that can happen: the next
number, the usual step of the tick, no flag, no counter that begins again. There the packets' memory is carried on in
one go, to the same numbers. Everything else is left to `Decoder.feed`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice, repeat

import numpy as np

from imufeedback.packets.layout import Layout
from imufeedback.packets.order import DIRECT, LEAK, STEPS, Order, PacketPlacer
from imufeedback.packets.unpack import Packet, Unpacker
from imufeedback.packets.wire import packet_type
from imufeedback.records import Bools, DeviceRun, Floats, Ints, RawPacket

FEWEST = 12
"""Fewer packets are read one by one. Chosen: the columns have a fixed cost, and live comes in ones and twos."""
_WIDEST = 62
"""Bits of a packet number that int64 holds with room for a difference."""


class Columns:
    """Packets of one sensor, whose headers and samples are read; nothing is said of their order yet."""

    def __init__(self, layout: Layout, unpacker: Unpacker, packets: Sequence[RawPacket]) -> None:
        self._layout = layout
        self._numbered = layout.sequence_width > 0
        self._modulus = layout.counter_modulus
        self.host_ns = [one.host_ns for one in packets]
        self.payloads = payloads = [one.payload for one in packets]
        lengths = list(map(len, payloads))
        length = max(set(lengths), key=lengths.count)
        self.samples, rest = divmod(length - layout.header_bytes, layout.sample_bytes)
        whole = np.array(lengths) == length
        self._plain = whole & (self.samples > 0 and not rest and layout.sequence_width <= _WIDEST)
        self._ends = list(range(len(packets)))
        """By the first packet: the end of the run that the headers allow from it on."""
        if not self._plain.any():
            return
        if not whole.all():
            payloads = [one if len(one) == length else bytes(length) for one in payloads]
        joined = b"".join(payloads)
        rows = np.frombuffer(joined, packet_type(layout, self.samples))
        values, flags = unpacker.samples_of(rows["body"].reshape(-1), joined)
        self._values = values.reshape(len(packets), self.samples, 6)
        if flags is not None:
            self._plain &= ~flags.reshape(len(packets), self.samples).any(axis=1)
        self._read(rows, unpacker)

    def _read(self, rows: np.ndarray, unpacker: Unpacker) -> None:
        layout, plain, n = self._layout, self._plain, len(rows)
        if layout.version is not None:
            plain &= (rows["version_flags"] & layout.version.mask) == layout.version.value
        if layout.in_header("count"):
            plain &= rows["count"] == self.samples
        self.sequence = np.zeros(n, np.int64)
        if self._numbered:
            self.sequence = _masked(rows["sequence"], layout.sequence_width)
            plain &= self.sequence < layout.sequence_numbers
        self.own_ticks: Ints | None = None
        if layout.in_sample("tick"):
            self.own_ticks = _masked(rows["body"]["tick"], layout.counter.bits)
            plain &= (np.diff(self.own_ticks, axis=1) >= 0).all(axis=1)
            plain &= self.own_ticks[:, -1] <= self._modulus - 1
            self.tick = self.own_ticks[:, 0]
        else:
            self.tick = _masked(rows["tick"], layout.counter.bits)
            plain &= self.tick <= self._modulus - 1
        follows: Bools = plain[1:] & plain[:-1] & (self.tick[1:] > self.tick[:-1])
        if self._numbered:
            follows &= self.sequence[1:] - self.sequence[:-1] == 1
        breaks = np.concatenate((np.flatnonzero(~follows) + 1, [n]))
        ends = np.repeat(breaks, np.diff(breaks, prepend=0))
        self._ends = np.where(plain, ends, np.arange(n)).tolist()

    def run(self, sensor: str, first: int, judge: PacketPlacer, order: Order) -> DeviceRun | None:
        """Packets from `first` on that plainly follow the stream and each other; the memory is then that after them.
        None where they are not worth it."""
        count = self._ends[first] - first
        last = order.last
        if count < FEWEST or last is None or order.held or len(order.steps) < STEPS or last.samples != self.samples:
            return None
        tick, sequence = self.tick[first : first + count], self.sequence[first : first + count]
        if tick[0] <= last.tick or (self._numbered and sequence[0] != last.sequence + 1):
            return None
        forward = tick - np.concatenate(([last.tick], tick[:-1]))
        step = forward / self.samples
        seen = np.concatenate((order.steps, step))
        median = np.partition(np.lib.stride_tricks.sliding_window_view(seen, STEPS), STEPS // 2, axis=1)[:, STEPS // 2]
        before, now = median[:-1], median[1:]
        usual = self._usual(forward, step, before, judge.nominal)
        ticks = self._ticks(first, count, now)
        usual &= ticks[:, -1] <= self._modulus - 1
        count = count if usual.all() else int(np.argmin(usual))
        if count < FEWEST:
            return None
        order.steps, order.step = seen[count : count + STEPS].tolist(), float(now[count - 1])
        order.lag_s = _lag_s(order.lag_s, last.host_ns, self.host_ns[first : first + count], forward, judge.unit_s)
        self._remember(first, count, judge, order)
        values = self._values[first : first + count]
        ticks = ticks[:count]
        values.flags.writeable = ticks.flags.writeable = False
        host_ns = self.host_ns[first : first + count]
        return DeviceRun(sensor, host_ns, ticks, values[..., :3], values[..., 3:])

    def _usual(self, forward: Ints, step: Floats, before: Floats, nominal: float) -> Bools:
        """(K,) whether the tick steps as to the next packet, with no sample missing and a period that can be true: what
        `PacketPlacer` asks in `place`, `lost_by_time` and `measure`."""
        per_packet = self.samples * before
        excess = forward - per_packet
        usual: Bools = np.abs(excess) <= np.maximum(DIRECT * per_packet, 1.5)
        usual &= excess <= 1.5 * before
        usual &= (step > nominal / 20) & (step < nominal * 20)
        return usual

    def _ticks(self, first: int, count: int, step: Floats) -> Ints:
        """(K, N) as `Decoder` gives them: the samples' own, or so many measured periods after the first one's."""
        if self.own_ticks is not None:
            return self.own_ticks[first : first + count]
        offsets = np.rint(np.arange(self.samples) * step[:, None]).astype(np.int64)
        return self.tick[first : first + count, None] + offsets

    def _remember(self, first: int, count: int, judge: PacketPlacer, order: Order) -> None:
        """What came last, to know repeats by; as many as are kept, unless an old one has the same number."""
        numbers = self.sequence[first : first + count].tolist()
        ticks = self.tick[first : first + count].tolist()
        keys = numbers if self._numbered else ticks
        begin = max(0, count - judge.recent)
        if begin and not order.recent.keys().isdisjoint(keys):
            begin = 0
        columns = (
            self.host_ns[first : first + count],
            numbers,
            ticks,
            repeat(self.samples, count),
            self.payloads[first:],
        )
        packets = list(map(Packet._make, islice(zip(*columns, strict=False), begin, None)))
        if begin:
            order.recent = dict(zip(keys[begin:], packets, strict=True))
        else:
            for packet in packets:
                judge.remember(order, packet)
        order.last, order.late = packets[-1], 0


def _masked(numbers: np.ndarray, bits: int) -> Ints:
    """Whole numbers without the bits that are not theirs, as int64."""
    if numbers.dtype.itemsize * 8 == bits and bits < _WIDEST:
        return numbers.astype(np.int64)
    return (numbers.astype(np.uint64) & np.uint64((1 << bits) - 1)).astype(np.int64)


def _lag_s(lag_s: float, last_ns: int, host_ns: Sequence[int], forward: Ints, unit_s: float) -> float:
    """`PacketPlacer.follow` for many."""
    for now_ns, ticks in zip(host_ns, forward.tolist(), strict=False):
        waited_s = (now_ns - last_ns) * 1e-9
        if waited_s < 0.0:
            waited_s = 0.0
        lag_s = lag_s + waited_s - ticks * unit_s - LEAK * (waited_s if waited_s < 1.0 else 1.0)
        if not lag_s > 0.0:
            lag_s = 0.0
        last_ns = now_ns
    return lag_s
