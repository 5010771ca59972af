"""One sensor's counter to session time."""

from __future__ import annotations

import statistics
from collections import deque
from dataclasses import dataclass, field
from itertools import accumulate
from typing import NamedTuple

import numpy as np

from imufeedback import recursions
from imufeedback.phrases import phrase
from imufeedback.records import (
    ClockFitted,
    ClockRestarted,
    DeviceBlock,
    DeviceRun,
    Flag,
    Floats,
    Gap,
    ImuBlock,
    ImuRun,
    Notice,
    frozen,
)
from imufeedback.stage import Stage
from imufeedback.timing.envelope import STRAIGHT_POINTS, fit_loose_line, likely_skew, line_below

BIN_S = 1.0
WINDOW_BINS = 90
MIN_SPAN_S = 20.0
"""Shorter than this a slope says more about the radio's jitter than about the clock."""
SLEW = 0.02
"""Largest change of the map, beyond the clock's own skew, per second of device time: time stays strictly rising when
the fit moves."""
SETTLE_S = 1.0
SETTLE_SLEW = 0.5
"""So long after a start, and so fast, the map may move: the first packet may be the most delayed of all, and the
sensor's filter settles then anyway. Chosen: delays of up to half a second are made up for."""
EARLY_S = 0.5
LATE_S = 3.0
"""A sample from the future, or one far later than any radio delays it, means that the counter began again; but not
where the samples follow each other without a break."""
FOLLOWS = 1.1
"""Steps up to so many periods, and a rounding of the tick, are no break."""
BACKLOG_S = 0.5
"""Packets that are suddenly late by more have waited somewhere: they say nothing of the clock."""
PAUSE_S = 2.0
DRAINED_S = 0.1
"""What waited is made up for. A stream that stays as late as it was, to this, for so long by its own time, will not:
the sensor's clock stood still meanwhile, or went all round. Chosen: a link that is faster than its sensor by a
twentieth is still believed."""
REPORT_S = 5.0
GAP_STEPS = 1.5
DROP_S = 0.002
"""A smallest delay so far below the line is no matter of the clock, which cannot move by that from one bin to the next:
the radio has become faster. A line through delays from before and after would tell of the radio, not of the clock."""
RATE_OFF = 0.02
"""A rate that is off by a larger share is told."""
RATE_AFTER_S = 30.0
MIN_STEP_S = 1e-6
"""Two samples of one tick still get a step: no rate is ever divided by nothing."""

_RESTART, _GAP = int(Flag.RESTART), int(Flag.GAP_BEFORE)

Out = ImuBlock | Gap | ClockFitted | ClockRestarted | Notice


class TimedRun(NamedTuple):
    """What came of the first packets of a run."""

    run: ImuRun
    host_s: list[float]
    """Of each packet: when it came, session time, …"""
    newest_s: list[float]
    """… and the time of its last sample."""
    told: list[tuple[int, ClockFitted | Notice]]
    """What is said after packet k."""


@dataclass
class _State:
    last_tick: int | None = None
    device_s: float = 0.0
    """Unwrapped device time of the last sample, from 0 at the first sample after a start."""
    t_s: float = -np.inf
    offset_s: float = 0.0
    """Slewed map: session time = device time + offset."""
    target: tuple[float, float] = (0.0, 0.0)
    """Fitted (offset at device time 0, slope) that `offset_s` moves towards."""
    period_s: float = 0.0
    bins: Floats = field(default_factory=lambda: np.empty((0, 2)))
    """Of each of the last `WINDOW_BINS`: when its delay was smallest, by device time, and that delay."""
    open_bin: tuple[float, float] | None = None
    since_s: float = -np.inf
    """Device time from which on the smallest delays may be compared with each other."""
    skew: float = 0.0
    """Last slope that a long enough stretch gave."""
    delays: deque[float] = field(default_factory=lambda: deque(maxlen=256))
    reported_s: float = -np.inf
    late_s: float = 0.0
    """How late the last block came."""
    backlog: tuple[float, float] | None = None
    """While packets wait somewhere: when, by the sensor's time, they last became less late, and how late they were."""
    known: bool = False
    """The slope was, before a restart."""
    ahead_s: float = 0.0
    first_device_s: float = 0.0
    count: int = 0
    told_rate: bool = False


class SensorClock(Stage[DeviceBlock, Out]):
    """Puts one sensor's blocks into session time.

    `tick_unit_s` and `tick_bits` describe the counter, `tick_modulus` where it does not use all its bits; `nominal_hz`
    is the rate that the sensor claims; the one that it really has is measured from the counter. `origin_ns` is the host
    time of session time 0, `delay_s` how long before its tick the motion was that a sample tells of.
    """

    _state: _State

    def __init__(
        self,
        sensor: str,
        *,
        tick_unit_s: float,
        tick_bits: int,
        nominal_hz: float,
        origin_ns: int,
        delay_s: float = 0.0,
        tick_modulus: int | None = None,
    ) -> None:
        self.sensor = sensor
        self._unit_s = tick_unit_s
        self._modulus = tick_modulus or 1 << tick_bits
        round_s = self._modulus * tick_unit_s
        self._early_s, self._far_s = min(EARLY_S, round_s / 4), min(LATE_S, round_s / 2)
        self._nominal_s = 1.0 / nominal_hz
        # A counter that counts samples has the rate of the part's own oscillator, not that of a crystal.
        self._counts_samples = tick_unit_s > 0.5 / nominal_hz
        self._origin_ns = origin_ns
        self._delay_s = delay_s
        rounding = 1.5 * tick_unit_s
        self._constants = np.array(
            [
                self._early_s,
                BACKLOG_S,
                GAP_STEPS,
                FOLLOWS,
                rounding,
                BIN_S,
                DROP_S,
                SLEW,
                MIN_STEP_S,
                delay_s,
                REPORT_S,
            ]
        )
        """In the order of `clocked` of the compiled form."""
        self._state = _State(period_s=self._nominal_s)

    @property
    def rate_hz(self) -> float:
        """Measured sample rate by the host's clock; the nominal one before there is enough to measure."""
        return 1.0 / (self._state.period_s * (1.0 + self._state.target[1]))

    @property
    def ahead_s(self) -> float:
        """At the last restart: how far the counter, had it gone on, would have been ahead of the host's clock."""
        return self._state.ahead_s

    def feed(self, item: DeviceBlock) -> list[Out]:
        ticks: list[int] = item.tick.tolist()  # a packet holds a few samples: plain numbers are faster than arrays
        if not ticks:
            return []
        s = self._state
        host_s = (item.host_ns - self._origin_ns) * 1e-9
        out: list[Out] = []
        flags = item.flags
        steps, device = self._steps(ticks, ticks[0] if s.last_tick is None else s.last_tick, item.rounds)
        if s.last_tick is not None:
            late = host_s - (device[-1] + s.offset_s)
            if self._begins_anew(flags.item(0), steps[0], device[-1], late):
                out.append(ClockRestarted(self.sensor, host_s))
                # the crystal is the same one, so its rate is known
                self._state = s = _State(
                    period_s=s.period_s,
                    t_s=s.t_s,
                    skew=s.target[1],
                    known=s.known or len(s.bins) >= STRAIGHT_POINTS,
                    ahead_s=-late,
                )
                steps, device = self._steps(ticks, ticks[0], 0)
                flags = flags.copy()
                flags[0] |= _RESTART
        begins = s.last_tick is None
        s.last_tick = ticks[-1]
        s.device_s = device[-1]
        if s.backlog is None:
            self._note_delay(s.device_s, host_s - s.device_s, begins)
        t_s = self._to_session(device, steps)
        if begins:
            steps[0] = s.period_s  # nothing before it: one period, as good as any
        dt_s = self._sizes(steps)
        if max(steps) > GAP_STEPS * s.period_s:
            out.extend(self._gaps(t_s, steps))
        self._measure_rate(steps)
        flags.flags.writeable = False
        out.append(ImuBlock(self.sensor, _fixed(t_s), _fixed(dt_s), item.gyr_rad_s, item.acc_m_s2, flags))
        out.extend(self._report())
        return out

    def feed_run(self, run: DeviceRun) -> TimedRun | None:
        """The same for packets that follow each other without a break, as far as they do here as well: without a jump
        of the time, a backlog, a gap. None when not even the first one does; what is left is for `feed`."""
        s = self._state
        if s.last_tick is None or s.backlog is not None:
            return None
        n, samples = run.tick.shape
        ticks = run.tick.reshape(-1)
        steps = (ticks - np.concatenate(([s.last_tick], ticks[:-1]))) * self._unit_s
        rows = steps.reshape(n, samples)
        host_s = (np.array(run.host_ns) - self._origin_ns) * 1e-9
        t_s, dt_s = np.empty((n, samples)), np.empty((n, samples))
        told: list[tuple[int, ClockFitted | Notice]] = []
        k = 0
        while k < n:
            done = self._compiled(k, steps, host_s, t_s, dt_s)
            if done == k:
                packet = rows[k].tolist()
                times = self._next(packet, host_s.item(k))
                if times is None:
                    break
                t_s[k] = times
                dt_s[k] = self._sizes(packet)
                done = k + 1
            k = done
            if s.t_s - s.reported_s >= REPORT_S:
                told += [(k - 1, one) for one in self._report()]
        if not k:
            return None
        s.last_tick = int(run.tick[k - 1, -1])
        block = ImuBlock(
            self.sensor,
            frozen(t_s[:k].reshape(-1)),
            frozen(dt_s[:k].reshape(-1)),
            frozen(run.gyr_rad_s[:k].reshape(-1, 3)),
            frozen(run.acc_m_s2[:k].reshape(-1, 3)),
            frozen(np.zeros(k * samples, np.uint8), np.uint8),
        )
        return TimedRun(ImuRun(block, samples), host_s[:k].tolist(), t_s[:k, -1].tolist(), told)

    def _next(self, steps: list[float], host_s: float) -> list[float] | None:
        """Session times of a packet that follows the one before; None where it does not, and nothing has changed."""
        s = self._state
        device = list(accumulate(steps, initial=s.device_s))[1:]
        if min(steps) < 0.0 or not self._follows(steps[0], max(steps), host_s - (device[-1] + s.offset_s)):
            return None
        s.device_s = device[-1]
        self._note_delay(s.device_s, host_s - s.device_s, False)
        t_s = self._to_session(device, steps)
        self._measure_rate(steps)
        return t_s

    def _compiled(self, begin: int, steps: Floats, host_s: Floats, t_s: Floats, dt_s: Floats) -> int:
        """`_next` and `_sizes` in the compiled form, for packets from `begin` on that lie in the open bin and on the
        line, up to a report. Returns the first one that is left."""
        s = self._state
        if recursions.core is None or s.open_bin is None:
            return begin
        moved = np.array(
            [
                s.device_s,
                s.offset_s,
                *s.target,
                s.t_s,
                s.period_s,
                s.count,
                *s.open_bin,
                s.since_s,
                s.late_s,
                s.reported_s,
            ]
        )
        packets, samples = t_s.shape
        above = np.empty(packets)
        end = recursions.core.clocked(packets, samples, begin, self._constants, steps, host_s, moved, t_s, dt_s, above)
        if end > begin:
            s.device_s, s.offset_s, offset, slope, s.t_s, s.period_s, count, x, y, s.since_s, s.late_s, _ = (
                moved.tolist()
            )
            s.target, s.open_bin, s.count = (offset, slope), (x, y), int(count)
            s.delays.extend(above[begin:end].tolist())
        return end

    def _follows(self, step_s: float, longest_s: float, late_s: float) -> bool:
        """Whether nothing is to be asked of a packet's time: neither `_begins_anew` nor a gap. Notes how late it is."""
        s = self._state
        if not -self._early_s <= late_s < BACKLOG_S or longest_s > GAP_STEPS * s.period_s:
            return False
        if step_s > FOLLOWS * s.period_s + 1.5 * self._unit_s:
            return False
        s.late_s = late_s
        return True

    def _on_the_line(self, first_s: float, last_s: float, step_s: float, shortest_s: float) -> bool:
        """Whether the map is on the fit, as nearly always, so that there is nothing to slew; the map then moves on."""
        s = self._state
        offset, slope = s.target
        error = offset + slope * first_s - (s.offset_s + slope * step_s)
        if abs(error) > SLEW * step_s or shortest_s <= MIN_STEP_S:
            return False
        if first_s + (offset + slope * first_s) - self._delay_s <= s.t_s:
            return False
        s.offset_s, s.t_s = offset + slope * last_s, last_s + (offset + slope * last_s) - self._delay_s
        return True

    def _begins_anew(self, flag: int, step_s: float, device_s: float, late_s: float) -> bool:
        """Whether the counter began again. Samples that follow the last one without a break did not begin again,
        however late they come; those after a loss that packet numbers told of neither."""
        s = self._state
        if flag & _RESTART or late_s < -self._early_s:
            return True
        follows = step_s <= FOLLOWS * s.period_s + 1.5 * self._unit_s or flag & _GAP
        if late_s > self._far_s and not follows:
            return True
        begins = late_s - s.late_s > BACKLOG_S
        s.late_s = late_s
        if late_s < BACKLOG_S:
            s.backlog = None
        elif begins or (s.backlog is not None and late_s < s.backlog[1] - DRAINED_S):
            s.backlog = device_s, late_s
        return s.backlog is not None and device_s - s.backlog[0] > PAUSE_S

    def _steps(self, ticks: list[int], last_tick: int, rounds: int) -> tuple[list[float], list[float]]:
        """Seconds between samples, and unwrapped device time: differences of the raw counter modulo its modulus, so
        that a wrap is a small step. `rounds`: how often it went all round before the first sample."""
        steps, device = [], []
        modulus, unit_s, device_s = self._modulus, self._unit_s, self._state.device_s
        whole_s = rounds * modulus * unit_s
        for tick in ticks:
            step = ((tick - last_tick) % modulus) * unit_s + whole_s
            whole_s = 0.0
            device_s += step
            steps.append(step)
            device.append(device_s)
            last_tick = tick
        return steps, device

    def _note_delay(self, device_s: float, delay_s: float, begins: bool) -> None:
        """Keep the smallest delay of each bin; the last sample of a block is the one least delayed.

        The line is fitted anew with every bin; between them it is only lowered, so that it stays below all delays.
        """
        s = self._state
        if begins:
            s.offset_s = delay_s
            s.first_device_s = device_s
            s.target = (delay_s - s.skew * device_s, s.skew)
        above_s = delay_s - (s.target[0] + s.target[1] * device_s)
        s.delays.append(above_s)
        if s.open_bin is None:
            s.open_bin = (device_s, delay_s)
        elif int(device_s / BIN_S) != int(s.open_bin[0] / BIN_S):
            s.bins = np.concatenate((s.bins[1 - WINDOW_BINS :], [s.open_bin]))
            s.open_bin = (device_s, delay_s)
            self._refit()
            above_s = delay_s - (s.target[0] + s.target[1] * device_s)
        elif delay_s < s.open_bin[1]:
            s.open_bin = (device_s, delay_s)
        if above_s < 0:
            if above_s < -DROP_S:
                s.since_s = device_s
            s.target = (s.target[0] + above_s, s.target[1])

    def _refit(self) -> None:
        """The line below the smallest delays. Its slope is that of the whole window when the counter has a rate of its
        own, else of what came since the radio last became faster, and until that is enough the one known before."""
        s = self._state
        points = s.bins
        # what was known before a restart is better than a slope over some seconds
        few = s.known and len(points) < STRAIGHT_POINTS
        loose = None if few else fit_loose_line(points, sure=self._counts_samples)
        if loose is not None:
            s.target = loose
            return
        together = points[np.searchsorted(points[:, 0], s.since_s) :]
        if len(together) and together[-1, 0] - together[0, 0] >= MIN_SPAN_S:
            s.skew = likely_skew(together)
        s.target = (line_below(points, s.skew), s.skew)

    def _to_session(self, device: list[float], steps: list[float]) -> list[float]:
        """Session times; the map slews towards the fit, so that time never stops or runs back."""
        if self._on_the_line(device[0], device[-1], steps[0], min(steps)):
            offset, slope = self._state.target
            return [one + (offset + slope * one) - self._delay_s for one in device]
        return self._slewed(device, steps)

    def _slewed(self, device: list[float], steps: list[float]) -> list[float]:
        s = self._state
        t_s = []
        settles = device[0] - s.first_device_s < SETTLE_S
        slew = SETTLE_SLEW if settles else SLEW
        for device_s, step in zip(device, steps, strict=True):
            s.offset_s += s.target[1] * step
            error = s.target[0] + s.target[1] * device_s - s.offset_s
            s.offset_s += min(max(error, -slew * step), slew * step)
            # the lower bound matters after a restart only: the old time base may have run ahead by a little
            s.t_s = max(device_s + s.offset_s - self._delay_s, s.t_s + MIN_STEP_S)
            t_s.append(s.t_s)
        return t_s

    def _sizes(self, steps: list[float]) -> list[float]:
        """Integration steps."""
        rate = 1.0 + self._state.target[1]
        return [(step if step > MIN_STEP_S else MIN_STEP_S) * rate for step in steps]

    def _gaps(self, t_s: list[float], steps: list[float]) -> list[Out]:
        period = self._state.period_s
        return [
            Gap(self.sensor, at, step, round(step / period) - 1)
            for at, step in zip(t_s, steps, strict=True)
            if step > GAP_STEPS * period
        ]

    def _measure_rate(self, steps: list[float]) -> None:
        """Follow the sample period slowly; steps across gaps say nothing about it."""
        s = self._state
        low, high, total, usual = 0.5 * s.period_s, GAP_STEPS * s.period_s, 0.0, 0
        for step in steps:
            if low < step < high:
                total += step
                usual += 1
        if usual:
            s.count += usual
            s.period_s += (total - usual * s.period_s) / min(s.count + 20, 2000)

    def _report(self) -> list[ClockFitted | Notice]:
        s = self._state
        if s.device_s - s.first_device_s < REPORT_S or s.t_s - s.reported_s < REPORT_S:
            return []
        s.reported_s = s.t_s
        fitted = ClockFitted(self.sensor, s.t_s, self.rate_hz, s.target[1] * 1e6, statistics.median(s.delays))
        off = self.rate_hz * self._nominal_s - 1.0
        if s.told_rate or abs(off) <= RATE_OFF or s.device_s - s.first_device_s < RATE_AFTER_S:
            return [fitted]
        s.told_rate = True
        rates = {"real_hz": self.rate_hz, "declared_hz": 1 / self._nominal_s}
        text = phrase("notice.rate_off", sensor=self.sensor, **rates)
        return [fitted, Notice(s.t_s, text)]


def _fixed(numbers: list[float]) -> Floats:
    """The numbers as a read-only array."""
    array = np.array(numbers)
    array.flags.writeable = False
    return array
