"""What comes of many items at once: each sensor's packets in one pass, column by column where nothing is odd.

The order in which all of it would have come, one item after the other, is kept as places: whole numbers that rise with
the item, and within it with what is made of it.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from imufeedback.conduct.chain import Chain
from imufeedback.cues.lateness import Arrival, Lateness
from imufeedback.packets.columns import FEWEST
from imufeedback.packets.decode import Out as Decoded
from imufeedback.records import ClockRestarted, DeviceBlock, DeviceRun, Event, ImuBlock, ImuRun, RawPacket, Tick
from imufeedback.timing import SilenceWatch, WakeSign
from imufeedback.timing.clock import TimedRun
from imufeedback.timing.instants import Placed

_ITEM, _CHAIN = 24, 16
"""Bits of a place below the number of the item, and below that of the sensor."""
_SIGN, _ARRIVAL, _BLOCK, _TOLD = range(4)
"""Places of what a run's packets give."""


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


@dataclass(slots=True)
class Gathering:
    """What all sensors make of a stretch of items, before it is asked what their times together tell."""

    told: list[tuple[int, Event]] = field(default_factory=list)
    own: dict[str, SensorRun] = field(default_factory=dict)
    signs: list[tuple[int, WakeSign]] = field(default_factory=list)
    arrivals: list[tuple[int, Arrival]] = field(default_factory=list)

    def take(self, number: int, chain: Chain, items: Sequence[Placed]) -> None:
        """One sensor's packets among the items; it is the session's sensor with this number."""
        name = chain.sensor.id
        own = [
            (k, one)
            for k, one in enumerate(items)
            if isinstance(one, Tick) or (isinstance(one, RawPacket) and one.sensor == name)
        ]
        if not own:
            return
        one_sensor = _OneSensor(self, chain, number << _CHAIN)
        packets = [k for k, one in own if isinstance(one, RawPacket)]
        for place, made in chain.decoder.feed_many([one for _, one in own]):
            k = own[place][0]
            if isinstance(made, DeviceRun):
                first = bisect_left(packets, k)
                one_sensor.run(packets[first : first + len(made)], made)
            else:
                one_sensor.records(k, made)

    def close(self, now_s: Sequence[float], silence: SilenceWatch, lateness: Lateness) -> Batch:
        """With what is said about silences and late data."""
        self.signs.sort(key=_place)
        simple = all(sign.ahead_s is None for _, sign in self.signs)
        if not (simple and silence.passes([(sign.t_s, sign.sensor) for _, sign in self.signs])):
            self.told += [(place, one) for place, sign in self.signs for one in silence.feed(sign)]
        if not lateness.passes(one.now_s - one.newest_s for _, one in self.arrivals):
            self.arrivals.sort(key=_place)
            self.told += [(place, one) for place, arrival in self.arrivals for one in lateness.feed(arrival)]
        self.told.sort(key=_place)
        return Batch(now_s, self.told, self.own)


class _OneSensor:
    """Puts what one sensor's packets give to their places."""

    def __init__(self, all_of_it: Gathering, chain: Chain, base: int) -> None:
        self._all, self._chain, self._base = all_of_it, chain, base
        self._own = all_of_it.own.setdefault(chain.sensor.id, SensorRun())
        self._last, self._used = -1, 0

    def records(self, item: int, records: Iterable[Decoded]) -> None:
        """What the decoder made of an item, the plain way."""
        chain, name = self._chain, self._chain.sensor.id
        for record in records:
            if not isinstance(record, DeviceBlock):
                self._all.told.append((self._next(item), record))
                continue
            host_s = chain.seconds(record.host_ns)
            self._all.signs.append((self._next(item), WakeSign(host_s, name, by_radio=chain.live)))
            for made in chain.clock.feed(record):
                if not isinstance(made, ImuBlock):
                    self._all.told.append((self._next(item), made))
                    if chain.live and isinstance(made, ClockRestarted):
                        self._all.signs.append((self._next(item), WakeSign(host_s, name, chain.clock.ahead_s)))
                    continue
                if chain.live:
                    self._all.arrivals.append((self._next(item), Arrival(name, host_s, made.t_s.item(-1))))
                self._judged(item, chain.corrected.feed(made))

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
            self._timed(items[done:end], timed)
            done = end

    def _timed(self, items: Sequence[int], timed: TimedRun) -> None:
        chain, base, name = self._chain, self._base, self._chain.sensor.id
        bases = [(item << _ITEM) + base for item in items]
        live = chain.live
        self._all.signs += [
            (at + _SIGN, WakeSign(host_s, name, None, live)) for at, host_s in zip(bases, timed.host_s, strict=True)
        ]
        if live:
            times = zip(bases, timed.host_s, timed.newest_s, strict=True)
            self._all.arrivals += [(at + _ARRIVAL, Arrival(name, host_s, newest_s)) for at, host_s, newest_s in times]
        self._all.told += [
            (bases[k] + _TOLD + j, one) for j, (k, one) in enumerate(timed.told) if not isinstance(one, ImuBlock)
        ]
        run = ImuRun(chain.corrected.feed(timed.run.block), timed.run.samples)
        if chain.plausible.passes(run):
            self._own.blocks.append(run)
            self._own.places.append([at + _BLOCK for at in bases])
            return
        for item, block in zip(items, run.packets(), strict=True):
            self._last, self._used = item, _BLOCK
            self._judged(item, block)

    def _judged(self, item: int, block: ImuBlock) -> None:
        for made in self._chain.plausible.feed(block):
            place = self._next(item)
            if isinstance(made, ImuBlock):
                self._own.blocks.append(made)
                self._own.places.append([place])
            else:
                self._all.told.append((place, made))

    def _next(self, item: int) -> int:
        """The next free place of an item."""
        if item != self._last:
            self._last, self._used = item, 0
        self._used += 1
        return (item << _ITEM) + self._base + self._used - 1


def _place(one: tuple[int, object]) -> int:
    return one[0]
