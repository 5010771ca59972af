"""Many packets of one sensor read at once, column by column, where each one plainly follows the one before.

`Order` and `PacketPlacer` say what a stream is; here is only asked where nothing of all that can happen: the next
number, the usual step of the tick, no flag, no counter that begins again; of what does happen only a packet that came
again and two that changed places. There the packets' memory is carried on in one go, to the same numbers. Everything
else is left to `Decoder.feed`.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import islice, repeat
from typing import NamedTuple

import numpy as np

from imufeedback.packets.arranged import NEAR, NUMBERS_LEAST, Arranged, arranged
from imufeedback.packets.layout import Layout
from imufeedback.packets.order import BURST_S, DIRECT, LEAK, LOSS, STEPS, Order, PacketPlacer
from imufeedback.packets.unpack import Packet, Unpacker
from imufeedback.packets.wire import packet_type
from imufeedback.records import Bools, DeviceRun, Floats, Ints, RawPacket

FEWEST = 12
"""Fewer packets are read one by one. Chosen: the columns have a fixed cost, and live comes in ones and twos."""
_WIDEST = 62
"""Bits of a packet number that int64 holds with room for a difference."""


class Taken(NamedTuple):
    """Packets that were taken at once."""

    run: DeviceRun
    handed_on: list[int]
    """Of each packet of the run: with which of those that came it is handed on."""
    end: int
    """The first one that was not taken."""
    repeats: int
    reordered: int


class Columns:
    """Packets of one sensor, whose headers and samples are read; nothing is said of their order yet. `places`: theirs
    among the items between which they came."""

    def __init__(self, layout: Layout, unpacker: Unpacker, packets: Sequence[RawPacket], places: Sequence[int]) -> None:
        self._layout = layout
        self._numbered = layout.sequence_width > 0
        self._modulus = layout.counter_modulus
        self._host_ns = [one.host_ns for one in packets]
        self._payloads = payloads = [one.payload for one in packets]
        lengths = list(map(len, payloads))
        length = max(set(lengths), key=lengths.count)
        self.samples, rest = divmod(length - layout.header_bytes, layout.sample_bytes)
        whole = np.array(lengths) == length
        self._plain = whole & (self.samples > 0 and not rest and layout.sequence_width <= _WIDEST)
        self._came = list(range(len(packets)))
        """Of the packets in the order in which they are handed on: as which they came. All columns have this order."""
        self._ends = self._came
        """By the first packet: the end of the run that the headers allow from it on."""
        self._begins = self._came
        """Of each packet that came: which one would be the first of a run that begins with it."""
        self._arranged = Arranged(self._came, {}, set())
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
        self._read(rows)
        if self._numbered and layout.sequence_numbers >= NUMBERS_LEAST:
            self._arrange(places)
        self._part()

    def _read(self, rows: np.ndarray) -> None:
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

    def _arrange(self, places: Sequence[int]) -> None:
        """Bring the columns into the order in which the packets are handed on."""
        odd = np.flatnonzero(self.sequence[1:] - self.sequence[:-1] != 1) + 1
        if not len(odd):
            return
        found = arranged(self.sequence.tolist(), odd.tolist(), self._host_ns, self._payloads, places)
        if not found.repeats and not found.early:
            return
        self._arranged, came = found, found.handed_on
        self._came, self._begins = came, [-1] * len(places)
        for k, one in enumerate(came):
            self._begins[one] = k
        for one in found.early:
            self._begins[one], self._begins[one + 1] = self._begins[one + 1], -1
        self.sequence, self.tick, self._plain = self.sequence[came], self.tick[came], self._plain[came]
        self.own_ticks = None if self.own_ticks is None else self.own_ticks[came]
        self._values = self._values[came]
        self._host_ns, self._payloads = [self._host_ns[k] for k in came], [self._payloads[k] for k in came]

    def _part(self) -> None:
        """Where runs end, as the headers say."""
        plain, n = self._plain, len(self._came)
        follows: Bools = plain[1:] & plain[:-1] & (self.tick[1:] > self.tick[:-1])
        if self._numbered:
            follows &= self.sequence[1:] - self.sequence[:-1] == 1
        breaks = np.concatenate((np.flatnonzero(~follows) + 1, [n]))
        ends = np.repeat(breaks, np.diff(breaks, prepend=0))
        self._ends = np.where(plain, ends, np.arange(n)).tolist()

    def run(self, sensor: str, begin: int, judge: PacketPlacer, order: Order) -> Taken | None:
        """Packets that plainly follow the stream and each other, beginning with one that came; the memory is then that
        after them. None where they are not worth it."""
        first, last = self._begins[begin], order.last
        count = self._ends[first] - first if first >= 0 else 0
        if count < FEWEST or last is None or order.held or len(order.steps) < STEPS or last.samples != self.samples:
            return None
        tick, sequence = self.tick[first : first + count], self.sequence[first : first + count]
        if tick[0] <= last.tick or (self._numbered and sequence[0] != last.sequence + 1):
            return None
        early = self._early(begin, first, count, order)
        if early is None:
            return None
        forward = tick - np.concatenate(([last.tick], tick[:-1]))
        step = forward / self.samples
        seen = np.concatenate((order.steps, step))
        median = np.partition(np.lib.stride_tricks.sliding_window_view(seen, STEPS), STEPS // 2, axis=1)[:, STEPS // 2]
        before, now = median[:-1], median[1:]
        usual = self._usual(forward, step, before, judge.nominal)
        ticks = self._ticks(first, count, now)
        usual &= ticks[:, -1] <= self._modulus - 1
        for k in early:
            usual[k] &= _is_held(forward[k] + forward[k + 1], self.samples * before[k], judge.unit_s)
        count = count if usual.all() else int(np.argmin(usual))
        if count - 1 in early:  # it is handed on, and the one that waited for it would not be
            count -= 1
        if count < FEWEST:
            return None
        order.steps, order.step = seen[count : count + STEPS].tolist(), float(now[count - 1])
        order.lag_s = _lag_s(order.lag_s, last.host_ns, self._host_ns[first : first + count], forward, judge.unit_s)
        self._remember(first, count, judge, order)
        values = self._values[first : first + count]
        ticks = ticks[:count]
        values.flags.writeable = ticks.flags.writeable = False
        host_ns = self._host_ns[first : first + count]
        run = DeviceRun(sensor, host_ns, ticks, values[..., :3], values[..., 3:])
        return self._taken(run, begin, first, [k for k in early if k < count])

    def _early(self, begin: int, first: int, count: int, order: Order) -> list[int] | None:
        """Packets of a run, counted from its first one, that the next one came before; None where one of those that
        came is not what it seems: it repeats one from before the run, or has a number of one remembered."""
        repeats, early = self._arranged.repeats, self._arranged.early
        if repeats and any(repeats.get(k, begin) < begin for k in range(begin, begin + NEAR + 1)):
            return None
        if not early:
            return []
        out = [k for k in range(count - 1) if self._came[first + k + 1] in early]
        return None if any(int(self.sequence[first + k + 1]) in order.recent for k in out) else out

    def _taken(self, run: DeviceRun, begin: int, first: int, early: list[int]) -> Taken:
        came = self._came[first : first + len(run)]
        for k in early:
            came[k + 1] = came[k]
        end = came[-1] + 1
        repeats = sum(begin < k < end for k in self._arranged.repeats)
        return Taken(run, came, end, repeats, len(early))

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
        begin = max(0, count - judge.recent - 1)
        if begin and not order.recent.keys().isdisjoint(keys):
            begin = 0
        columns = self._host_ns[first:], numbers, ticks, repeat(self.samples, count), self._payloads[first:]
        packets = list(map(Packet._make, islice(zip(*columns, strict=False), begin, None)))
        order.last, order.late = packets[-1], 0
        if begin:
            order.recent = {}
        if self._arranged.early:  # they are remembered as they came
            came = self._came[first + begin : first + count]
            packets = [packet for _, packet in sorted(zip(came, packets, strict=True))]
        for packet in packets:
            judge.remember(order, packet)


def _is_held(forward: int, per_packet: float, unit_s: float) -> bool:
    """Whether a packet is held that comes one too early: `PacketPlacer` finds that number and tick tell of the same
    loss, and that the tick does not step as to the next packet."""
    near = abs(forward - 2.0 * per_packet) <= 2.0 * LOSS * per_packet + per_packet
    direct = abs(forward - per_packet) <= max(DIRECT * per_packet, 1.5)
    return near and not direct and forward * unit_s <= BURST_S


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
