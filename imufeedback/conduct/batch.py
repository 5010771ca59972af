"""What comes of many items at once: each sensor's packets in one pass, column by column where nothing is odd.

The order in which all of it would have come, one item after the other, is kept as places: whole numbers that rise with
the item, and within it with what is made of it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, repeat
from operator import itemgetter, sub
from typing import TypeAlias

from imufeedback.conduct.chain import Chain
from imufeedback.cues.lateness import Arrival, Lateness
from imufeedback.packets.columns import FEWEST
from imufeedback.packets.decode import Out as Decoded
from imufeedback.records import ClockRestarted, DeviceBlock, DeviceRun, Event, Flag, ImuBlock, ImuRun, RawPacket, Tick
from imufeedback.timing import SilenceWatch, WakeSign
from imufeedback.timing.clock import TimedRun

_ITEM, _CHAIN = 24, 16
"""Bits of a place below the number of the item, and below that of the sensor."""
_RESTART = int(Flag.RESTART)
_ARRIVAL, _BLOCK, _TOLD = range(1, 4)
"""Places of what a run's packets give, behind the sign that the computer is awake."""


@dataclass(frozen=True, slots=True)
class SensorRun:
    """Samples of one sensor in their order, with the place of each block; a run has one place for each packet."""

    blocks: list[ImuBlock | ImuRun] = field(default_factory=list)
    places: list[list[int]] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class Batch:
    """Samples in session time and what is to be said, each with its place."""

    now_s: Sequence[float]
    """The session's time at each item."""
    told: Sequence[tuple[int, Event]]
    own: dict[str, SensorRun]
    """By sensor."""

    def heard_s(self, place: int) -> float:
        """The session's time at a place."""
        return self.now_s[place >> _ITEM]

    @staticmethod
    def of(made: Iterable[tuple[float, ImuBlock | Event]]) -> Batch:
        """Of what came one by one, with the session's times at which it came."""
        batch = Batch(now_s := [], told := [], {})
        for k, (at_s, one) in enumerate(made):
            now_s.append(at_s)
            if isinstance(one, ImuBlock):
                own = batch.own.setdefault(one.sensor, SensorRun())
                own.blocks.append(one)
                own.places.append([k << _ITEM])
            else:
                told.append((k << _ITEM, one))
        return batch


def item_place(item: int) -> int:
    """The first place of an item."""
    return item << _ITEM


_Sign: TypeAlias = tuple[int, float, str, float | None, bool]
"""The place of a sign that the computer is awake, and what a `WakeSign` holds."""
_Arrivals: TypeAlias = tuple[Sequence[int], Sequence[float], Sequence[float]]
"""Places of packets of one sensor, when they came, and the times of their last samples."""


@dataclass(slots=True)
class Gathering:
    """What all sensors make of a stretch of items, before it is asked what their times together tell."""

    told: list[tuple[int, Event]] = field(default_factory=list)
    own: dict[str, SensorRun] = field(default_factory=dict)
    signs: list[_Sign] = field(default_factory=list)
    arrivals: list[tuple[str, _Arrivals]] = field(default_factory=list)

    def take(self, number: int, chain: Chain, places: Sequence[int], items: Sequence[RawPacket | Tick]) -> None:
        """One sensor's packets, and the ticks between them, with their places among all items; it is the session's
        sensor with this number."""
        one_sensor = _OneSensor(self, chain, number << _CHAIN)
        for own, made in chain.decoder.feed_many(items):
            if isinstance(made, DeviceRun):
                one_sensor.run([places[k] for k in own], made)
            else:
                one_sensor.records(places[own[0]], made)
        one_sensor.judge()

    def close(self, now_s: Sequence[float], silence: SilenceWatch, lateness: Lateness) -> Batch:
        """With what is said about silences and late data."""
        self.signs.sort(key=_place)
        if not silence.passes(sign[1:4] for sign in self.signs):
            self.told += [(place, one) for place, *sign in self.signs for one in silence.feed(WakeSign(*sign))]
        if not lateness.passes(max(map(sub, host_s, newest_s)) for _, (_, host_s, newest_s) in self.arrivals):
            arrivals = [
                (place, Arrival(name, *times))
                for name, columns in self.arrivals
                for place, *times in zip(*columns, strict=True)
            ]
            arrivals.sort(key=_place)
            self.told += [(place, one) for place, arrival in arrivals for one in lateness.feed(arrival)]
        self.told.sort(key=_place)
        return Batch(now_s, self.told, self.own)


class _OneSensor:
    """Puts what one sensor's packets give to their places."""

    def __init__(self, all_of_it: Gathering, chain: Chain, base: int) -> None:
        self._all, self._chain, self._base = all_of_it, chain, base
        self._timed = SensorRun()
        """What has not been judged yet."""
        self._last, self._used = -1, 0

    def records(self, item: int, records: Iterable[Decoded]) -> None:
        """What the decoder made of an item, the plain way."""
        chain, name, live = self._chain, self._chain.sensor.id, self._chain.live
        for record in records:
            if not isinstance(record, DeviceBlock):
                self._all.told.append((self._next(item), record))
                continue
            host_s = chain.seconds(record.host_ns)
            self._all.signs.append((self._next(item), host_s, name, None, live))
            for made in chain.clock.feed(record):
                if not isinstance(made, ImuBlock):
                    self._all.told.append((self._next(item), made))
                    if live and isinstance(made, ClockRestarted):
                        self._all.signs.append((self._next(item), host_s, name, chain.clock.ahead_s, True))
                    continue
                if live:
                    self._all.arrivals.append((name, ([self._next(item)], [host_s], [made.t_s.item(-1)])))
                self._timed.blocks.append(chain.corrected.feed(made))
                self._timed.places.append([self._next(item)])

    def run(self, items: Sequence[int], run: DeviceRun) -> None:
        """Packets that follow each other, which came as these items."""
        done = 0
        while done < len(items):
            timed = self._chain.clock.feed_run(run.rest(done))
            if timed is None:
                for k in range(done, min(done + FEWEST, len(items))):
                    self.records(items[k], [run.block(k)])
                done = min(done + FEWEST, len(items))
                continue
            end = done + len(timed.run)
            self._take(items[done:end], timed)
            done = end

    def _take(self, items: Sequence[int], timed: TimedRun) -> None:
        chain, base, name = self._chain, self._base, self._chain.sensor.id
        bases = [(item << _ITEM) + base for item in items]
        self._all.signs += zip(bases, timed.host_s, repeat(name), repeat(None), repeat(chain.live))
        if chain.live:
            self._all.arrivals.append((name, ([at + _ARRIVAL for at in bases], timed.host_s, timed.newest_s)))
        self._all.told += [
            (bases[k] + _TOLD + j, one) for j, (k, one) in enumerate(timed.told) if not isinstance(one, ImuBlock)
        ]
        self._timed.blocks.append(ImuRun(chain.corrected.feed(timed.run.block), timed.run.samples))
        self._timed.places.append([at + _BLOCK for at in bases])

    def judge(self) -> None:
        """Hand on what is plausible of all that was taken."""
        own = self._all.own.setdefault(self._chain.sensor.id, SensorRun())
        blocks, plausible = self._timed.blocks, self._chain.plausible
        restarts = [k for k, one in enumerate(blocks) if isinstance(one, ImuBlock) and one.flags.item(0) & _RESTART]
        edges = sorted({0, len(blocks), *restarts, *(k + 1 for k in restarts)})
        for begin, end in pairwise(edges):
            while begin < end and not plausible.learnt:
                self._judge(own, slice(begin, begin + 1))
                begin += 1
            if plausible.passes(blocks[begin:end]):
                own.blocks.extend(blocks[begin:end])
                own.places.extend(self._timed.places[begin:end])
            else:
                self._judge(own, slice(begin, end))

    def _judge(self, own: SensorRun, some: slice) -> None:
        """Packet by packet."""
        for block, places in zip(self._timed.blocks[some], self._timed.places[some], strict=True):
            packets = block.packets() if isinstance(block, ImuRun) else [block]
            for place, packet in zip(places, packets, strict=True):
                for made in self._chain.plausible.feed(packet):
                    if isinstance(made, ImuBlock):
                        own.blocks.append(made)
                        own.places.append([place])
                    else:
                        self._all.told.append((place, made))

    def _next(self, item: int) -> int:
        """The next free place of an item."""
        if item != self._last:
            self._last, self._used = item, 0
        self._used += 1
        return (item << _ITEM) + self._base + self._used - 1


_place = itemgetter(0)
