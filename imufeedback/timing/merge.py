"""All sensors on one time grid."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np

from imufeedback.records import AlignedBlock, Flag, Floats, Ints, OrientationBlock, Segment
from imufeedback.stage import Stage
from imufeedback.timing.grid import ACC, GYR, HEADING_SD, INCLINATION_SD, REST, SATURATED, WIDTH, on_the_grid
from imufeedback.timing.silence import SILENCE_S

WAIT_S = 0.070
"""How long a step waits for a late sensor, beyond the span of one packet. Waiting costs delay only while one is late; a
step without its sample costs the whole rep. With 30 ms a connection interval of 60 ms, or one packet lost in fifty,
voided most swings; with 70 ms none (DEVELOPERS.md)."""
BREAK_S = SILENCE_S
"""A silence of all sensors that is longer is a break in the session: no steps are made inside it."""
BREAK_STEPS = 20
"""… and longer than so many steps: samples that are always that far apart are no break. Chosen."""
EDGE_S = 0.25
"""Of a break so much is kept at both its ends, without an angle: what follows has to see that nothing was known.
Chosen: longer than a late sensor is waited for."""
MOST_STEPS = 16_384
"""Longest block: what is in memory at once does not depend on how far a sensor's samples lie apart. Chosen: 82 s."""

FEWEST, AT_ONCE = 16, 1024
"""Fewer packets go one by one, and so many around one that is odd; most that go as columns. Chosen."""

_FLAG = np.uint8(Flag.SATURATED)


def break_s(grid_hz: float) -> float:
    """The shortest silence that is a break."""
    return max(BREAK_S, BREAK_STEPS / grid_hz)


class Arrived(NamedTuple):
    """Packets in the order in which they came; those of one sensor lie one after the other in its blocks."""

    blocks: Sequence[OrientationBlock]
    of: Sequence[int] | Ints
    """(K,) which of the blocks holds each packet."""
    begin: Sequence[int] | Ints
    end: Sequence[int] | Ints
    """(K,) its samples there."""


class Released(NamedTuple):
    """Steps of a block in the groups in which they were released."""

    ends: list[int]
    """Places in the block after the last step of each."""
    by: list[int]
    """Place of the arrival that made them known."""


@dataclass
class _State:
    rows: Floats
    """(M, 14) samples, oldest first, of one sensor after the other; one row of NaN for a sensor that has none."""
    times_s: Floats
    """(M,) of the rows."""
    begins: list[int]
    """First row of each sensor."""
    counts: list[int]
    """Samples of each sensor."""
    next_step: int | None = None
    span_s: float = 0.0
    """Longest packet seen."""
    newest_s: list[float] = field(default_factory=list)


class _Run:
    """Steps that go into one block."""

    def __init__(self, known: Sequence[int]) -> None:
        self.first = 0
        self.released = Released([], [])
        self.limits: list[Ints | list[Sequence[int]]] = []
        """(R, S) samples of each sensor that were there at the releases."""
        self.cut = [0 for _ in known]
        """Samples of each sensor that were thrown away since these are counted."""


class _Columns(NamedTuple):
    """What is asked of packets, (K,) each."""

    sensor: Ints
    begins_s: Floats
    newest_s: Floats
    counts: Ints

    @staticmethod
    def of(arrived: Arrived, index: Mapping[str, int]) -> _Columns:
        lengths = [len(one.t_s) for one in arrived.blocks]
        of, begin, end = np.asarray(arrived.of), np.asarray(arrived.begin), np.asarray(arrived.end)
        t_s = np.concatenate([one.t_s for one in arrived.blocks])
        first = (np.cumsum(lengths) - lengths)[of]
        sensor = np.array([index[one.sensor] for one in arrived.blocks])[of]
        return _Columns(sensor, t_s[first + begin], t_s[first + end - 1], end - begin)

    def part(self, rows: slice) -> _Columns:
        """Of some packets."""
        return _Columns(self.sensor[rows], self.begins_s[rows], self.newest_s[rows], self.counts[rows])


class Merger(Stage[OrientationBlock, AlignedBlock]):
    """Interpolates the sensors' orientations onto multiples of ``1 / grid_hz``.

    A step is released once every sensor has reached it, or after a bounded wait; a sensor without fresh samples is
    carried on by its last rate for at most 20 ms and is not ok after that, nor inside a gap of more than 40 ms.
    """

    _state: _State

    def __init__(self, sensors: Sequence[tuple[str, Segment]], *, grid_hz: float) -> None:
        self._index = {sensor: i for i, (sensor, _) in enumerate(sensors)}
        self._segments = tuple(segment for _, segment in sensors)
        self._grid_hz = grid_hz
        self._break_s = break_s(grid_hz)
        self._state = _State(
            rows=np.full((len(sensors), WIDTH), np.nan),
            times_s=np.full(len(sensors), np.nan),
            begins=list(range(len(sensors))),
            counts=[0 for _ in sensors],
            newest_s=[-math.inf for _ in sensors],
        )

    def feed(self, item: OrientationBlock) -> list[AlignedBlock]:
        return [block for block, _ in self.feed_many(Arrived([item], [0], [0], [len(item.t_s)]))]

    def feed_many(self, arrived: Arrived) -> Iterator[tuple[AlignedBlock, Released]]:
        """To be gone through to its end.

        The steps are those, with the same values, that feeding one packet after the other releases: what came later is
        not looked at. Steps within a block follow each other; one after a break is in the next block.
        """
        known = self._state.counts.copy()
        self._append(arrived.blocks)
        run, done, many = _Run(known), 0, len(arrived.of)
        columns = _Columns.of(arrived, self._index) if many >= FEWEST else None
        while done < many:
            if columns is not None:
                done += self._together(run, columns.part(slice(done, done + AT_ONCE)), known, done)
            for by in range(done, min(done + FEWEST, many)):
                block, begin, end = arrived.blocks[arrived.of[by]], int(arrived.begin[by]), int(arrived.end[by])
                i = self._index[block.sensor]
                for first, last in _unbroken(block.t_s, begin, end, self._break_s):
                    known[i] += last - first
                    yield from self._one(run, i, block.t_s.item(first), block.t_s.item(last - 1), known, by)
            done = min(done + FEWEST, many)
        yield from self._flushed(run)

    def _one(
        self, run: _Run, sensor: int, begins_s: float, newest_s: float, known: Sequence[int], by: int
    ) -> Iterator[tuple[AlignedBlock, Released]]:
        """A packet without a break."""
        s = self._state
        s.span_s = max(s.span_s, newest_s - begins_s + 1.0 / self._grid_hz)
        before_s = max(s.newest_s)
        if begins_s - before_s > self._break_s:
            yield from self._release(run, before_s + EDGE_S, known, by)
            yield from self._flushed(run)
            self._resume(begins_s)
        s.newest_s[sensor] = newest_s
        until_s = max(min(s.newest_s), max(s.newest_s) - WAIT_S - s.span_s)
        yield from self._release(run, until_s, known, by)

    def _together(self, run: _Run, arrived: _Columns, known: list[int], by: int) -> int:
        """The same of many packets; returns how many could be taken: up to one that has a break in it or before it, or
        fills the block. `by` is the place of the first."""
        s = self._state
        if s.next_step is None or not len(arrived.sensor):
            return 0
        own = arrived.sensor == np.arange(len(known))[:, None]
        newest_s = np.where(own, arrived.newest_s, np.array(s.newest_s)[:, None])
        newest_s = np.maximum.accumulate(newest_s, axis=1)
        latest_s = newest_s.max(axis=0)
        lasts_s = arrived.newest_s - arrived.begins_s
        span_s = np.maximum(np.maximum.accumulate(lasts_s) + 1.0 / self._grid_hz, s.span_s)
        until_s = np.maximum(newest_s.min(axis=0), latest_s - WAIT_S - span_s)
        reached = np.maximum.accumulate(np.floor(until_s * self._grid_hz + 1e-6).astype(np.int64))
        reached = np.maximum(reached, s.next_step - 1)
        before_s = np.concatenate(([max(s.newest_s)], latest_s[:-1]))
        run.first = run.first if run.limits else s.next_step
        odd = (arrived.begins_s - before_s > self._break_s) | (lasts_s > self._break_s)
        odd |= reached - run.first >= MOST_STEPS - 1
        count = int(np.argmax(odd)) if odd.any() else len(odd)
        if count == 0:
            return 0
        new = np.flatnonzero(np.diff(reached[:count], prepend=s.next_step - 1))
        counts = np.cumsum(np.where(own, arrived.counts, 0), axis=1) + np.array(known)[:, None]
        run.released.ends.extend((reached[new] + 1 - run.first).tolist())
        run.released.by.extend((new + by).tolist())
        if len(new):
            run.limits.append(counts[:, new].T)
        known[:], s.newest_s = counts[:, count - 1].tolist(), newest_s[:, count - 1].tolist()
        s.span_s, s.next_step = span_s.item(count - 1), reached.item(count - 1) + 1
        return count

    def finish(self) -> list[AlignedBlock]:
        s = self._state
        known = s.counts.copy()
        run = _Run(known)
        made = [*self._release(run, max(s.newest_s), known, 0), *self._flushed(run)]
        return [block for block, _ in made]

    def _release(
        self, run: _Run, until_s: float, known: Sequence[int], by: int
    ) -> Iterator[tuple[AlignedBlock, Released]]:
        """The steps up to a time; blocks that are full."""
        s = self._state
        end = self._reached(until_s, [count - cut for count, cut in zip(known, run.cut, strict=True)])
        while end is not None and s.next_step is not None and s.next_step <= end:
            if not run.limits:
                run.first = s.next_step
            last = min(end, run.first + MOST_STEPS - 1)
            s.next_step = last + 1
            run.released.ends.append(last + 1 - run.first)
            run.released.by.append(by)
            run.limits.append([tuple(known)])
            if last + 1 - run.first == MOST_STEPS:
                yield from self._flushed(run)

    def _flushed(self, run: _Run) -> Iterator[tuple[AlignedBlock, Released]]:
        """The block of the steps so far."""
        if not run.limits:
            return
        released, limits = run.released, np.concatenate(run.limits) if len(run.limits) > 1 else np.array(run.limits[0])
        limits -= np.array(run.cut)
        run.released, run.limits = Released([], []), []
        before = self._state.counts.copy()
        block = self._steps(run.first, released.ends, limits)
        run.cut = [cut + old - new for cut, old, new in zip(run.cut, before, self._state.counts, strict=True)]
        yield block, released

    def _resume(self, begins_s: float) -> None:
        """Steps go on shortly before samples that come after a break."""
        s = self._state
        if s.next_step is not None:
            edge_s = max(EDGE_S, WAIT_S + s.span_s)
            s.next_step = max(s.next_step, math.ceil((begins_s - edge_s) * self._grid_hz))

    def _append(self, blocks: Sequence[OrientationBlock]) -> None:
        s = self._state
        new: list[list[OrientationBlock]] = [[] for _ in s.counts]
        for item in blocks:
            new[self._index[item.sensor]].append(item)
        counts = [old + sum([len(one.t_s) for one in own]) for old, own in zip(s.counts, new, strict=True)]
        rows, times_s = np.empty((sum(counts) + counts.count(0), WIDTH)), np.empty(sum(counts) + counts.count(0))
        begins, at = [], 0
        for begin, old, own in zip(s.begins, s.counts, new, strict=True):
            begins.append(at)
            kept = max(old, 0 if own else 1)
            rows[at : at + kept], times_s[at : at + kept] = (
                s.rows[begin : begin + kept],
                s.times_s[begin : begin + kept],
            )
            at += kept
            for item in own:
                end = at + len(item.t_s)
                times_s[at:end], rows[at:end, :4], part = item.t_s, item.q_es, rows[at:end, 4:]
                part[:, GYR], part[:, ACC] = item.gyr_rad_s, item.acc_m_s2
                part[:, INCLINATION_SD], part[:, HEADING_SD] = item.inclination_sd_rad, item.heading_sd_rad
                part[:, REST], part[:, SATURATED] = item.rest, item.flags & _FLAG
                at = end
        s.rows, s.times_s, s.begins, s.counts = rows, times_s, begins, counts

    def _reached(self, until_s: float, known: Sequence[int]) -> int | None:
        """The last step up to a time; None when it is not a new one. `known`: samples of each sensor so far."""
        s = self._state
        if not math.isfinite(until_s):
            return None
        if s.next_step is None:
            begin_s = min(s.times_s.item(begin) for begin, count in zip(s.begins, known, strict=True) if count)
            s.next_step = math.ceil(begin_s * self._grid_hz - 1e-6)
        last = math.floor(until_s * self._grid_hz + 1e-6)
        return None if last < s.next_step else last

    def _steps(self, first: int, ends: Sequence[int], limits: Ints) -> AlignedBlock:
        """The block that begins with step `first`; `limits` (R, S) samples that were there at each release."""
        s = self._state
        t_s = np.arange(first, first + ends[-1]) / self._grid_hz
        block = self._sample(t_s, limits, ends)
        for i, (begin, there) in enumerate(zip(s.begins, limits[-1].tolist(), strict=True)):
            past = max(int(s.times_s[begin : begin + there].searchsorted(t_s[-1], side="right")) - 1, 0)
            s.begins[i] += past
            s.counts[i] -= past
        return block

    def _sample(self, t_s: Floats, limits: Ints, ends: Sequence[int]) -> AlignedBlock:
        """All segments at the grid times. `limits` (R, S): so many samples of each sensor were there for steps up to
        the `ends` of the releases."""
        s = self._state
        q_es, mixed, ok = on_the_grid(t_s, s.times_s, s.rows, s.begins, s.counts, limits, ends)
        rest, saturated = ok & (mixed[..., REST] > 0.5), mixed[..., SATURATED] > 0.0
        for array in (t_s, q_es, mixed, rest, ok, saturated):
            array.setflags(write=False)
        return AlignedBlock(
            segments=self._segments,
            t_s=t_s,
            q_es=q_es,
            gyr_rad_s=mixed[..., GYR],
            acc_m_s2=mixed[..., ACC],
            rest=rest,
            inclination_sd_rad=mixed[..., INCLINATION_SD],
            heading_sd_rad=mixed[..., HEADING_SD],
            ok=ok,
            saturated=saturated,
        )


def _unbroken(t_s: Floats, begin: int, end: int, break_s: float) -> Iterator[tuple[int, int]]:
    """A packet's samples, parted where there is a break between two of them."""
    if end - begin > 1 and t_s.item(end - 1) - t_s.item(begin) > break_s:
        for at in (np.flatnonzero(np.diff(t_s[begin:end]) > break_s) + begin + 1).tolist():
            yield begin, at
            begin = at
    if end > begin:
        yield begin, end
