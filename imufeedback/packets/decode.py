"""Packets of one sensor -> blocks of samples in SI units and the sensor's own time, in order, once each."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.packets.columns import FEWEST, Columns
from imufeedback.packets.layout import Layout
from imufeedback.packets.order import HOLD_NS, WINDOW, Order, PacketPlacer, Place
from imufeedback.packets.unpack import Flags, Packet, Unpacker
from imufeedback.phrases import phrase
from imufeedback.records import DeviceBlock, DeviceRun, Flag, Ints, Notice, PacketRejected, RawPacket, Tick
from imufeedback.stage import Stage

Out = DeviceBlock | PacketRejected | Notice


@dataclass(slots=True)
class PacketCounts:
    """What happened to a sensor's packets so far."""

    samples: int = 0
    """Samples handed on."""
    lost: int = 0
    """Samples that never came, or came too late."""
    rejected: int = 0
    """Packets that could not be used."""
    duplicates: int = 0
    """Packets that came again."""
    reordered: int = 0
    """Packets that came out of order and were put right."""
    saturated: int = 0
    """Samples with an axis at the end of its range."""


@dataclass(slots=True)
class _State:
    order: Order = field(default_factory=Order)
    counts: PacketCounts = field(default_factory=PacketCounts)


@lru_cache(maxsize=256)
def _offsets(step: float, samples: int) -> Ints:
    """Ticks of the samples of a packet after its first one."""
    offsets: Ints = np.rint(np.arange(samples) * step).astype(np.int64)
    return offsets


@lru_cache(maxsize=256)
def _no_flags(samples: int) -> Flags:
    return np.zeros(samples, np.uint8)


class Decoder(Stage[RawPacket | Tick, Out]):
    """Decodes the packets of one sensor; never raises for what a packet contains.

    Exact repeats are dropped; a packet that overtook another waits for it, for up to three packets or 30 ms; loss and
    restarts are flagged on the first sample after them. The first packet that comes is the start, whatever its number.
    `origin_ns` is the host time at which the session's time is 0.
    """

    _state: _State

    def __init__(self, sensor: str, layout: Layout, origin_ns: int) -> None:
        self._sensor = sensor
        self._origin_ns = origin_ns
        self._layout = layout
        self._unpacker = Unpacker(layout)
        self._judge = PacketPlacer(layout)
        self._own_ticks = layout.in_sample("tick")
        self._modulus = layout.counter_modulus
        self._numbers = layout.sequence_numbers
        self._state = _State()

    @property
    def counts(self) -> PacketCounts:
        """A copy of the counts so far."""
        return copy.copy(self._state.counts)

    def feed(self, item: RawPacket | Tick) -> list[Out]:
        """Take one packet, or the passing of time. Raises UsageError for a packet of another sensor."""
        out: list[Out] = []
        held = self._state.order.held
        while held and item.host_ns - min(one.host_ns for one in held) >= HOLD_NS:
            self._release(out)
        if isinstance(item, RawPacket):
            self._take(item, out)
        return out

    def feed_many(self, items: Sequence[RawPacket | Tick]) -> Iterator[tuple[Sequence[int], list[Out] | DeviceRun]]:
        """The same, one item after the other: the item's place and what follows from it. Packets that plainly follow
        each other come as one run, with a place for each."""
        packets = [item for item in items if isinstance(item, RawPacket)]
        if len(packets) < FEWEST or {one.sensor for one in packets} != {self._sensor}:
            yield from (((place,), self.feed(item)) for place, item in enumerate(items))
            return
        places: Sequence[int] = range(len(items))
        if len(packets) < len(items):
            places = [place for place, item in enumerate(items) if isinstance(item, RawPacket)]
        columns = Columns(self._layout, self._unpacker, packets, places)
        order, counts = self._state.order, self._state.counts
        place = number = 0
        while place < len(items):
            item = items[place]
            if not isinstance(item, RawPacket):
                if order.held:
                    yield (place,), self.feed(item)
                place += 1
                continue
            taken = columns.run(self._sensor, number, self._judge, order)
            if taken is None:
                yield (place,), self.feed(item)
                number += 1
                place += 1
                continue
            counts.samples += taken.run.tick.size
            counts.duplicates += taken.repeats
            counts.reordered += taken.reordered
            yield [places[k] for k in taken.handed_on], taken.run
            number, place = taken.end, places[taken.end - 1] + 1

    def finish(self) -> list[Out]:
        """Hand on what still waits for packets before it."""
        out: list[Out] = []
        while self._state.order.held:
            self._release(out)
        return out

    def _take(self, item: RawPacket, out: list[Out]) -> None:
        if item.sensor != self._sensor:
            raise UsageError(
                f"packet of {item.sensor} fed to the decoder of {self._sensor}", hint="use one decoder per sensor"
            )
        packet = self._unpacker.header(item)
        if isinstance(packet, str):
            out.append(self._reject(item.host_ns, packet))
            return
        order = self._state.order
        if self._judge.plainly_next(order, packet):
            order.late = 0
            self._judge.measure(order, packet)
            self._hand_on(packet, out)
            self._judge.remember(order, packet)
            return
        place = self._judge.place(order, packet)
        if place is Place.REPEAT:
            self._state.counts.duplicates += 1
            return
        if place is Place.LATE:
            order.late += 1
            out.append(self._reject(item.host_ns, f"packet {packet.sequence} came after its successors had been used"))
            return
        order.late = 0
        self._put(packet, place, out)

    def _put(self, packet: Packet, place: Place, out: list[Out]) -> None:
        order = self._state.order
        if place is Place.AHEAD:
            self._hold(packet, out)
        elif place is Place.NEXT or place is Place.FIRST:
            if order.held:
                self._state.counts.reordered += 1
            self._emit(packet, 0, out)
            self._release_direct(out)
        else:
            out += self.finish()
            if place is Place.RESTART:
                self._tell_moduli(packet, out)
                self._judge.restart(order)
            self._emit(packet, Flag.RESTART if place is Place.RESTART else 0, out)
        self._judge.remember(order, packet)

    def _hold(self, packet: Packet, out: list[Out]) -> None:
        order = self._state.order
        order.held.append(packet)
        order.held.sort(key=lambda one: self._judge.ahead(order, one))
        while order.held and (len(order.held) > WINDOW or self._judge.ahead(order, order.held[0]) > WINDOW):
            self._release(out)

    def _release(self, out: list[Out]) -> None:
        """Stop waiting: the first of the held packets follows the last one, and what is between is lost."""
        order = self._state.order
        packet = order.held.pop(0)
        assert order.last is not None
        lost = max(0, self._judge.ahead(order, packet)) * order.last.samples
        self._emit(packet, 0, out, lost, self._judge.rounds(order, packet, lost))
        self._release_direct(out)

    def _release_direct(self, out: list[Out]) -> None:
        order = self._state.order
        while order.held and self._judge.ahead(order, order.held[0]) <= 0:
            self._emit(order.held.pop(0), 0, out)

    def _emit(
        self,
        packet: Packet,
        flag: int,
        out: list[Out],
        lost: int = 0,
        rounds: int = 0,
    ) -> None:
        """Decode and hand on. `lost` samples are missing by the packet numbers, and the counter went round so often
        meanwhile; if none are, the ticks are asked."""
        order, counts = self._state.order, self._state.counts
        self._tell_moduli(packet, out)
        paused = False
        if not lost:
            lost = self._judge.lost_by_time(order, packet)
            paused = lost > 0 and self._judge.paused(order, lost)
            self._judge.measure(order, packet)
        if lost:
            counts.lost += 0 if paused else lost
            flag |= Flag.GAP_BEFORE
        self._hand_on(packet, out, flag, rounds)

    def _hand_on(self, packet: Packet, out: list[Out], flag: int = 0, rounds: int = 0) -> None:
        order = self._state.order
        out.append(self._block(packet, flag, self._judge.unseen(order, packet, rounds)))
        self._state.counts.samples += packet.samples
        self._judge.follow(order, packet, rounds)
        order.last = packet

    def _tell_moduli(self, packet: Packet, out: list[Out]) -> None:
        """What to write into the layout, when a counter shows that it begins again elsewhere than that says."""
        clock, number = self._judge.real_moduli(self._state.order, packet)
        t_s = (packet.host_ns - self._origin_ns) * 1e-9
        if clock is not None:
            fields = {"sensor": self._sensor, "real": clock, "said": self._modulus}
            text = phrase("notice.clock_modulus", **fields)
            out.append(Notice(t_s, text))
        if number is not None:
            fields = {"sensor": self._sensor, "real": number, "said": self._numbers}
            text = phrase("notice.number_modulus", **fields)
            out.append(Notice(t_s, text))

    def _block(self, packet: Packet, flag: int, rounds: int) -> DeviceBlock:
        values, flags = self._unpacker.samples(packet)
        if flags is not None:
            self._state.counts.saturated += int(np.count_nonzero(flags & Flag.SATURATED))
        if flag:
            flags = np.zeros(packet.samples, np.uint8) if flags is None else flags
            flags[0] |= flag
        flags = _no_flags(packet.samples) if flags is None else flags
        values.flags.writeable = False
        flags.flags.writeable = False
        ticks = self._ticks(packet)
        return DeviceBlock(self._sensor, packet.host_ns, ticks, values[:, :3], values[:, 3:], flags, rounds)

    def _ticks(self, packet: Packet) -> Ints:
        """(N,) tick of every sample: its own, or the first one's and so many measured periods on."""
        if self._own_ticks:
            ticks = self._unpacker.own_ticks(packet.payload, packet.samples)
        else:
            ticks = packet.tick + _offsets(self._judge.step(self._state.order), packet.samples)
            if int(ticks[-1]) >= self._modulus:
                ticks = self._layout.around(ticks)
        ticks.flags.writeable = False
        return ticks

    def _reject(self, host_ns: int, reason: str) -> PacketRejected:
        self._state.counts.rejected += 1
        return PacketRejected(self._sensor, (host_ns - self._origin_ns) * 1e-9, reason)
