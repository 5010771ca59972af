"""Feeds one sensor's samples to its filter, and keeps what the filter cannot know out of it."""

from __future__ import annotations

import copy
import math
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from itertools import pairwise
from typing import Any, NamedTuple, TypeAlias

import numpy as np
import numpy.typing as npt

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion.filters import make
from imufeedback.fusion.known import (
    GAP_STEPS,
    RELEVEL_RAD,
    REST_S,
    SETTLED_S,
    SHAKEN_FALLS_S,
    SURELY_SETTLED_S,
    Knowledge,
    first_tilt_rad,
    unrest_m_s2,
)
from imufeedback.fusion.rest_level import RestLevel
from imufeedback.fusion.sensor_rotation import angle_between, heading_to, turned, up_of, with_heading
from imufeedback.fusion.stepping import Given, Stepping
from imufeedback.records import Bools, Flag, Floats, ImuBlock, ImuRun, OrientationBlock, frozen, joined
from imufeedback.stage import Stage

# plain integers: numpy meets an IntFlag with a dozen attribute look-ups
_RESTART, _INVALID, _SATURATED = int(Flag.RESTART), int(Flag.INVALID), int(Flag.SATURATED)
_AFTER_A_GAP = bytes([Flag.GAP_BEFORE])

BRIDGE_S = 0.5
"""Longest gap over which lost samples are put in; beyond it the heading is unknown anyway."""
LOOKED_AT_S = 0.05
"""A longer gap may cost more than the force can tell: then the filter begins anew."""
RATE_OFF = 0.05
"""A real sample period that differs by a larger share from the declared one gets a filter of its own."""
OFF_MOST = 2.5
"""A force after a gap that is so many standard deviations from "up" shows that the turn was another."""
LEVEL_S = 0.15
"""A filter that has not settled begins again when the sensor has been quiet for so long and its "down" is off."""
LEVEL_OFF_RAD = math.radians(1.0)
AT_ONCE = 64
"""So many samples of a sensor that has not settled are tried together, and again up to one that decides. Chosen."""
KNOCK_M_S2 = 12.0 * STANDARD_GRAVITY_M_S2
CLIPPED_KNOCK_M_S2 = 4.0 * STANDARD_GRAVITY_M_S2
"""Harder than a golfer moves (the latter: where something was at the end of its range): the filter is not shown such a
force."""


class OrientationRun(NamedTuple):
    """Orientations `begin` to `end` of a block: those of the samples of one of the blocks that were fed."""

    of: int
    block: OrientationBlock
    begin: int
    end: int
    packet: int | None = None
    """… or of one packet of a run."""


_Numbered: TypeAlias = tuple[int, int | None, ImuBlock | ImuRun]
"""What is fed with its number, and that of the packet where it is one of a run."""


@dataclass
class _State:
    filter: Any
    period_s: float
    """Period at which the filter runs: the nominal one, or the real one where that is far off."""
    last: tuple[Floats, Floats] | None = None
    """Last usable gyroscope and accelerometer sample."""
    calm: Floats | None = None
    """Last force that was no knock."""
    skipped_s: float = 0.0
    """Time of unusable samples since `last`."""
    acc_bias: Floats | None = None
    """(3,) zero-g offset that a calibration found."""
    stepping: Stepping = field(default_factory=Stepping)
    turn_rad: float = 0.0
    """Turn about the vertical that gives the filter the heading of the one before it."""
    wanted: Floats | None = None
    """(4,) what the filter before it would say, until the new one has its first sample."""
    q_es: Floats | None = None
    """(4,) last orientation."""

    def copied(self) -> _State:
        """Independent of later samples: they put other arrays in the place of these."""
        own = self.stepping
        return replace(self, stepping=Stepping(copy.copy(own.bias), copy.copy(own.known), copy.copy(own.level)))

    @property
    def known(self) -> Knowledge:
        return self.stepping.known


class _Made(NamedTuple):
    """Orientations, and what else is asked of their samples."""

    block: OrientationBlock
    felt_m_s2: Floats
    """(N, 3) forces with those of a knock."""
    quiet_s: Floats


class Fusion(Stage[ImuBlock, OrientationBlock]):
    """One sensor's orientation. `filter_name` is a file of `fusion.filters`; `period_s` the nominal sample period.

    Every sample is integrated over its own step: the filter runs at the nominal period on rates scaled by
    ``step / period``, so the turn is right at any real rate. Lost samples are put in along a straight line and not
    passed on; a sample that is not a number costs itself only. Forces of a knock are kept from the filter, and from the
    joints behind it; with `tells_knocks` (a forearm, whose knock is the impact) they are passed on.
    """

    _state: _State

    def __init__(
        self, sensor: str, *, filter_name: str = "vqf", period_s: float = 0.005, tells_knocks: bool = False
    ) -> None:
        self.sensor, self._tells_knocks = sensor, tells_knocks
        self._name = filter_name
        self._period_s = period_s
        self._filter = make(filter_name, period_s)
        self._state = _State(filter=None, period_s=period_s)

    @property
    def state(self) -> Any:
        kept = copy.deepcopy(self._state)
        kept.filter = self._filter.state
        return kept

    @state.setter
    def state(self, value: Any) -> None:
        self._state = copy.deepcopy(value)
        # a new filter object: one that has run cannot always be put back to "no sample yet"
        self._filter = make(self._name, self._state.period_s)
        self._filter.state = self._state.filter
        self._state.filter = None

    def feed_many(self, blocks: Sequence[ImuBlock | ImuRun]) -> list[OrientationRun]:
        """The same, one block after the other, as many at once as go together; a run like its packets."""
        out: list[OrientationRun] = []
        todo: deque[_Numbered] = deque((k, None, one) for k, one in enumerate(blocks))
        while todo:
            _split_first(todo, self._stands_alone)
            together = [todo.popleft()]
            if not self._stands_alone(_block(together[0])):
                while todo and not self._stands_alone(_block(todo[0])):
                    together.append(todo.popleft())
            whole = joined([_block(one) for one in together])
            s = self._state
            if len(together) > 1 and not s.known.stays_settled(whole.gyr_rad_s, whole.dt_s, s.period_s):
                for one in together:
                    out += [part for oriented in self.feed(_block(one)) for part in _parted(oriented, [one])]
                continue
            for oriented in self.feed(whole):
                out += _parted(oriented, together)
        return out

    def _stands_alone(self, item: ImuBlock) -> bool:
        """Whether a block has to be fed by itself, or all of a longer one would be taken for what it is: the first one,
        which tells the real rate; one with a flag but that of a gap; one after a gap that is worth a look."""
        s = self._state
        odd = s.last is None or s.skipped_s > 0.0 or any(item.flags.tobytes().replace(_AFTER_A_GAP, b""))
        return odd or float(item.dt_s.max()) > max(LOOKED_AT_S, GAP_STEPS * s.period_s)

    def feed(self, item: ImuBlock) -> list[OrientationBlock]:
        seen = int(np.bitwise_or.reduce(item.flags)) if any(item.flags.tobytes()) else 0
        if seen & _RESTART:
            return self._restart(item)
        s = self._state
        # one product over all of them is finite only if every one is
        if seen & _INVALID or s.last is None or not math.isfinite(np.vdot(item.gyr_rad_s, item.acc_m_s2)):
            good = _usable(item)
            if not good.all():
                return self._without(item, good)
        ends = self._losses(item, seen)
        if ends:
            return [self._after_losses(item, ends)]
        if s.last is None and s.wanted is None:
            self._choose_period(item.dt_s)
        return [self._smooth(item, seen)]

    def _smooth(self, item: ImuBlock, seen: int) -> OrientationBlock:
        s = self._state
        if not s.known.settled and len(item.t_s) > 1:
            return self._unsettled(item)
        made = self._finite(item, seen)
        if not s.known.settled:
            self._settle(made, made.block.acc_m_s2.mean(axis=0))
        return self._told(made)

    def _told(self, made: _Made) -> OrientationBlock:
        if self._tells_knocks and made.felt_m_s2 is not made.block.acc_m_s2:
            return replace(made.block, acc_m_s2=frozen(made.felt_m_s2))
        return made.block

    def _losses(self, item: ImuBlock, seen: int) -> list[int]:
        """The samples before which turn was lost: by a gap that is worth a look, or by clipped samples that end."""
        s = self._state
        steps = item.dt_s.tolist()
        clipped = s.known.clip is not None
        if s.last is None or (max(steps) + s.skipped_s <= LOOKED_AT_S and not clipped and not seen & _SATURATED):
            return []
        steps[0] += s.skipped_s
        ends = []
        for i, (step, flag) in enumerate(zip(steps, item.flags.tolist(), strict=True)):
            now = bool(flag & _SATURATED)
            if step > LOOKED_AT_S or (clipped and not now):
                ends.append(i)
            clipped = now
        return ends

    def _after_losses(self, item: ImuBlock, ends: list[int]) -> OrientationBlock:
        made = []
        for begin, end in pairwise(sorted({0, *ends, len(item.t_s)})):
            part = _part(item, slice(begin, end))
            if begin in ends:
                self._judge(part)
            made.append(self._smooth(part, int(np.bitwise_or.reduce(part.flags))))
        return self._joined(made)

    def _judge(self, item: ImuBlock) -> None:
        """Turn was lost before the first sample: what tells the tilt better, the filter or that sample's force?"""
        s = self._state
        if s.last is None or s.q_es is None:
            return
        gap_s = float(item.dt_s[0]) + s.skipped_s
        rate = item.gyr_rad_s[0] - s.stepping.bias.bias
        force = item.acc_m_s2[0] if s.acc_bias is None else item.acc_m_s2[0] - s.acc_bias
        rate2 = float(rate @ rate)
        lost = s.known.lost(gap_s, rate2) if gap_s > LOOKED_AT_S else 0.0
        clipped = 0.0 if s.known.clip is None else s.known.clip.lost_rad
        first = first_tilt_rad(unrest_m_s2(float(force @ force), rate2))
        wanted = turned(s.q_es, 0.5 * (s.last[0] - s.stepping.bias.bias + rate) * min(gap_s, BRIDGE_S))
        off = angle_between(up_of(wanted), force)
        if lost and off > OFF_MOST * math.hypot(lost, first):
            lost = off  # more has happened in the gap than both its ends tell
        if math.hypot(lost, clipped) > first:
            self._begin_anew(wanted, lost)

    def _begin_anew(self, wanted: Floats, heading_lost_rad: float) -> None:
        """The tilt from the force from now on; the heading as it was `wanted` (4,) to be."""
        s = self._state
        self._filter = self._filter.again()
        s.last, s.skipped_s, s.turn_rad, s.wanted = None, 0.0, 0.0, wanted
        s.stepping.level = RestLevel()
        s.known.begin(heading_lost_rad)

    def _unsettled(self, item: ImuBlock) -> OrientationBlock:
        """Judged sample by sample until the sensor has settled: so blocks of any size tell the same."""
        made, k, n = [], 0, len(item.t_s)
        while k < n and not self._state.known.settled:
            made.append(self._judged(_part(item, slice(k, k + AT_ONCE))))
            k += len(made[-1].t_s)
        if k < n:
            made.append(self._told(self._finite(*_seen(_part(item, slice(k, None))))))
        return self._joined(made)

    def _judged(self, item: ImuBlock) -> OrientationBlock:
        """As many of the samples as there is nothing to decide about, and the one after which there is."""
        s = self._state
        item = _part(item, slice(0, self._tried(item)))
        before = None if len(item.t_s) == 1 else (s.copied(), self._filter.state)
        made = self._finite(*_seen(item))
        if before is not None:
            count = self._decided(before[0].known, made, item.dt_s) + 1
            if count < len(item.t_s):
                self._state, self._filter.state = before
                made = self._finite(*_seen(_part(item, slice(0, count))))
        self._settle(made, made.block.acc_m_s2[-1])
        return self._told(made)

    def _tried(self, item: ImuBlock) -> int:
        """So many of the samples may go together: what is special goes by itself."""
        s, known = self._state, self._state.known
        if s.last is None or s.skipped_s > 0.0 or known.clip is not None:
            return 1
        odd = (item.dt_s >= GAP_STEPS * s.period_s) | ((item.flags & np.uint8(_SATURATED)) != 0)
        most = int(np.argmax(odd)) if odd.any() else len(odd)
        if known.begun_s is not None and known.begun_s <= SURELY_SETTLED_S:
            most = min(most, int((SURELY_SETTLED_S - known.begun_s) / (2.0 * s.period_s)))
        return max(most, 1)

    def _decided(self, before: Knowledge, made: _Made, steps_s: Floats) -> int:
        """The first sample after which `_settle` has something to do; else the last one."""
        block, quiet_s = made.block, made.quiet_s
        due = quiet_s >= SETTLED_S
        looked = quiet_s >= LEVEL_S
        if looked.any():
            due |= looked & _off_level(block.q_es, block.acc_m_s2)
        if before.shaken_rad > LEVEL_OFF_RAD:
            shaken = before.shaken_rad * np.exp(-np.cumsum(steps_s) / SHAKEN_FALLS_S)
            due |= looked & (shaken > LEVEL_OFF_RAD)
            if before.long:
                due |= shaken <= 0.5 * RELEVEL_RAD
            forces2, rates2 = ((x * x).sum(axis=1).tolist() for x in (made.felt_m_s2, block.gyr_rad_s))
            for i in np.flatnonzero(shaken > RELEVEL_RAD).tolist():
                due[i] |= first_tilt_rad(unrest_m_s2(forces2[i], rates2[i])) < shaken[i]
        return int(np.argmax(due)) if due.any() else len(due) - 1

    def _joined(self, made: list[OrientationBlock]) -> OrientationBlock:
        if len(made) == 1:
            return made[0]
        names = [one.name for one in fields(OrientationBlock) if one.name != "sensor"]
        arrays = {name: np.concatenate([getattr(part, name) for part in made]) for name in names}
        for array in arrays.values():
            array.flags.writeable = False
        return OrientationBlock(self.sensor, **arrays)

    def _finite(self, item: ImuBlock, seen: int) -> _Made:
        """A block whose samples are all numbers."""
        s = self._state
        gyr, acc = item.gyr_rad_s, item.acc_m_s2
        if s.acc_bias is not None:
            acc = acc - s.acc_bias
        felt = acc
        before, s.last = s.last, (gyr[-1], acc[-1])
        steps = item.dt_s.tolist()
        if before is None:
            before = (gyr[0], acc[0])
            steps[0] = s.period_s
        steps[0] += s.skipped_s
        s.skipped_s = 0.0
        real_steps = steps
        if seen & _SATURATED or np.vdot(acc, acc) > KNOCK_M_S2**2:  # the sum of all: mostly none of a few is that hard
            acc = self._calmed(item, acc)
        real = None
        if max(steps) >= GAP_STEPS * s.period_s:
            gyr, acc, steps, real = self._bridged(gyr, acc, before, steps)
        block, quiet_s = self._run(item, gyr, acc, before[0], steps, real_steps, real, seen)
        return _Made(block, block.acc_m_s2 if felt is acc else felt, quiet_s)

    def _settle(self, made: _Made, force: Floats) -> None:
        """Look for "down" anew where the filter took it from a movement, or has lost it; `force` (3,) is no knock."""
        s = self._state
        known, rate, felt, q_es = s.known, made.block.gyr_rad_s[-1], made.felt_m_s2[-1], made.block.q_es[-1]
        if known.clip is None and known.doubted(float(felt @ felt), float(rate @ rate)):
            self._begin_anew(q_es, 0.0)
        if known.quiet_s >= LEVEL_S and s.q_es is not None:
            if _off_level(q_es, force):
                quiet_s = known.quiet_s
                self._begin_anew(q_es, 0.0)
                known.quiet_s = quiet_s
            known.shaken_rad = min(known.shaken_rad, LEVEL_OFF_RAD)
        known.settle()

    def _without(self, item: ImuBlock, good: Bools) -> list[OrientationBlock]:
        """The same without the samples that are no numbers: as if they were lost on the way."""
        s = self._state
        ends = np.cumsum(item.dt_s)
        if not good.any():
            s.skipped_s += float(ends[-1])
            return []
        kept = np.flatnonzero(good)
        dt_s = np.diff(ends[kept], prepend=0.0)
        left_s = float(ends[-1] - ends[kept[-1]])
        flags = item.flags[kept] & np.uint8(0xFF ^ _INVALID)
        part = ImuBlock(item.sensor, item.t_s[kept], dt_s, item.gyr_rad_s[kept], item.acc_m_s2[kept], flags)
        out = self.feed(part)
        s.skipped_s += left_s
        return out

    def _calmed(self, item: ImuBlock, acc: Floats) -> Floats:
        """Forces with those of a knock, and those at the end of the range, replaced by the last calm one.

        A few samples of many g would tip the filter's vertical by degrees, for seconds.
        """
        s = self._state
        clipped = (item.flags & np.uint8(_SATURATED)) != 0
        forces2 = (acc * acc).sum(axis=1)
        wild = (forces2 > KNOCK_M_S2**2) | (clipped & (forces2 > CLIPPED_KNOCK_M_S2**2))
        if not wild.any():
            s.calm = acc[-1]
            return acc
        calm = s.calm
        acc = acc.copy()
        for i, hard in enumerate(wild.tolist()):
            if hard and calm is not None:
                acc[i] = calm
            else:
                calm = acc[i]
        s.calm = calm
        return acc

    def _run(
        self,
        item: ImuBlock,
        gyr: Floats,
        acc: Floats,
        before: Floats,
        steps: list[float],
        real_steps: list[float],
        real: npt.NDArray[np.intp] | None,
        seen: int,
    ) -> tuple[OrientationBlock, Floats]:
        """Orientation at the `real` ones of some samples, by default all; for how long it has been quiet at each."""
        s = self._state
        # the turn of a step is the mean of the rates at its two ends; the rate at its end alone would put every
        # orientation half a step ahead: 1 degree at 400 °/s and 200 Hz
        ends = np.concatenate((before[None], gyr))
        steps_s = np.array(steps)
        rates = ends[1:] + ends[:-1]
        rates *= (steps_s * (0.5 / s.period_s))[:, None]
        q_es, bias, observed = self._filter.run(rates, acc)
        if s.wanted is not None:
            s.turn_rad, s.wanted = heading_to(s.wanted, q_es[0]), None
        if s.turn_rad:
            q_es = with_heading(s.turn_rad, q_es)
        real_steps_s = steps_s
        if real is not None:
            q_es, gyr, acc, real_steps_s = q_es[real], gyr[real], acc[real], np.array(real_steps)
        flags = item.flags.tolist() if seen & _SATURATED else []
        given = Given(steps_s, bias, observed, real, real_steps_s, gyr, acc, q_es)
        made = s.stepping.stepped(given, s.period_s, flags)
        rest = made.quiet_s >= REST_S
        s.calm, s.q_es = acc[-1], made.q_es[-1].copy()
        for array in (*made[:5], rest):
            array.setflags(write=False)
        block = OrientationBlock(
            sensor=self.sensor,
            t_s=item.t_s,
            q_es=made.q_es,
            gyr_rad_s=made.gyr_rad_s,
            acc_m_s2=frozen(acc),
            bias_rad_s=made.bias_rad_s,
            rest=rest,
            inclination_sd_rad=made.inclination_sd_rad,
            heading_sd_rad=made.heading_sd_rad,
            flags=item.flags,
        )
        return block, made.quiet_s

    def add_acc_bias(self, more_m_s2: Floats) -> None:
        """From now on also take this zero-g offset (3,), sensor frame, off the accelerometer."""
        s = self._state
        s.acc_bias = more_m_s2.copy() if s.acc_bias is None else s.acc_bias + more_m_s2

    def _choose_period(self, dt_s: Floats) -> None:
        """A filter's time constants are right only near its period: one far from the real rate would call slow movement
        rest. Scaling takes care of the turn, not of that."""
        s = self._state
        real_s = float(np.median(dt_s[1:])) if len(dt_s) > 1 else s.period_s
        if abs(real_s / s.period_s - 1.0) > RATE_OFF:
            s.period_s = real_s
            self._filter = make(self._name, real_s)

    def _restart(self, item: ImuBlock) -> list[OrientationBlock]:
        """The sensor was off: what the filter knew of its orientation is void, and the heading with it."""
        at = int(np.flatnonzero(item.flags & np.uint8(_RESTART))[0])
        out = self.feed(_part(item, slice(0, at))) if at else []
        old = self._state
        self._filter = make(self._name, old.period_s)
        known = Knowledge(heading_sd_rad=old.known.heading_sd_rad + math.pi)
        self._state = _State(filter=None, period_s=old.period_s, stepping=Stepping(known=known), acc_bias=old.acc_bias)
        return out + self.feed(_part(item, slice(at, None), without=_RESTART))

    def _bridged(
        self, gyr: Floats, acc: Floats, before: tuple[Floats, Floats], steps: list[float]
    ) -> tuple[Floats, Floats, list[float], npt.NDArray[np.intp]]:
        """Samples with lost ones put in along straight lines, their steps, and which of them are real."""
        s = self._state
        bridged = np.minimum(steps, BRIDGE_S)
        counts = np.maximum(np.rint(bridged / s.period_s).astype(int), 1)
        real = np.cumsum(counts) - 1
        place = np.concatenate(([-1.0], real.astype(float)))
        at = np.arange(int(real[-1]) + 1, dtype=float)
        gyr, acc = (
            np.column_stack([np.interp(at, place, np.append(first[k], x[:, k])) for k in range(3)])
            for first, x in zip(before, (gyr, acc), strict=True)
        )
        return gyr, acc, np.repeat(bridged / counts, counts).tolist(), real


def _block(one: _Numbered) -> ImuBlock:
    return one[2].block if isinstance(one[2], ImuRun) else one[2]


def _split_first(todo: deque[_Numbered], stands_alone: Callable[[ImuBlock], bool]) -> None:
    """A run whose packets cannot go together becomes its packets."""
    of, _, first = todo[0]
    if isinstance(first, ImuRun) and stands_alone(first.block):
        todo.popleft()
        todo.extendleft([(of, packet, one) for packet, one in enumerate(first.packets())][::-1])


def _parted(oriented: OrientationBlock, fed: Sequence[_Numbered]) -> list[OrientationRun]:
    """What of the orientations belongs to each of what was fed."""
    if len(fed) == 1:
        of, packet, _ = fed[0]
        return [OrientationRun(of, oriented, 0, len(oriented.t_s), packet)] if len(oriented.t_s) else []
    last_s = [_block(one).t_s[-1] for one in fed]
    ends = np.searchsorted(oriented.t_s, last_s, side="right").tolist()
    bounds = zip(fed, pairwise([0, *ends]), strict=True)
    return [OrientationRun(of, oriented, begin, end, packet) for (of, packet, _), (begin, end) in bounds if end > begin]


def _seen(item: ImuBlock) -> tuple[ImuBlock, int]:
    """With the flags of all its samples together."""
    return item, int(np.bitwise_or.reduce(item.flags))


def _off_level(q_es: Floats, force: Floats) -> Bools:
    """Whether "down" (..., 4) is off by what forces (..., 3) at rest show."""
    along = (force * up_of(q_es)).sum(axis=-1)
    off: Bools = along < math.cos(LEVEL_OFF_RAD) * np.sqrt((force * force).sum(axis=-1))
    return off


def _usable(item: ImuBlock) -> Bools:
    good: Bools = (item.flags & np.uint8(_INVALID)) == 0
    good &= np.isfinite(item.gyr_rad_s).all(axis=1) & np.isfinite(item.acc_m_s2).all(axis=1)
    good &= item.acc_m_s2.any(axis=1)  # no part of a sensor on earth feels nothing
    return good


def _part(item: ImuBlock, where: slice, *, without: int = 0) -> ImuBlock:
    """Some of the samples; `without` some flags."""
    flags = item.flags[where] & np.uint8(0xFF ^ without) if without else item.flags[where]
    return ImuBlock(item.sensor, item.t_s[where], item.dt_s[where], item.gyr_rad_s[where], item.acc_m_s2[where], flags)
