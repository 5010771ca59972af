"""Feeds one sensor's samples to its filter, and keeps what the filter cannot know out of it."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion.filters import make
from imufeedback.records import Bools, Flag, Floats, ImuBlock, OrientationBlock, frozen
from imufeedback.stage import Stage

# plain integers: numpy meets an IntFlag with a dozen attribute look-ups
_RESTART, _INVALID, _SATURATED = int(Flag.RESTART), int(Flag.INVALID), int(Flag.SATURATED)

GAP_STEPS = 1.5
"""Longer steps than so many periods have lost samples in them."""
BRIDGE_S = 0.5
"""Longest gap over which lost samples are put in; beyond it the heading is unknown anyway."""
QUIET_RATE_RAD_S = 0.10
QUIET_ACC_M_S2 = 1.0
"""From standard gravity: an uncorrected zero-g offset of 60 mg and a scale error must not hide a rest."""
_LEAST_2, _MOST_2 = (STANDARD_GRAVITY_M_S2 - QUIET_ACC_M_S2) ** 2, (STANDARD_GRAVITY_M_S2 + QUIET_ACC_M_S2) ** 2
SETTLE_S = 0.5
"""An observed bias counts once the rest has gone on for so long after it."""
RATE_OFF = 0.05
"""A real sample period that differs by a larger share from the declared one gets a filter of its own."""
LEVEL_S, SETTLED_S = 0.15, 1.0
"""A filter that began in motion begins again when the sensor has been quiet for the first, as long as it has not been
so for the second."""
LEVEL_OFF_RAD = math.radians(1.0)
UNSETTLED_SD_RAD = math.radians(8.0)
"""Carried about at 1 to 3 m/s²."""
REST_S = 0.3
"""A sensor is at rest after it was quiet for so long: slower than this and no golfer stands still at address."""
INCLINATION_SD_REST_RAD = math.radians(0.5)
INCLINATION_SD_MOVING_RAD = math.radians(1.0)
"""VQF's tilt error on the BROAD benchmark: 0.7 (undisturbed) to 1.0 degrees RMS (fast), computed with its defaults."""
HEADING_DRIFT_SD_RAD_S = math.radians(3.0) / 60.0
"""VQF 6D on BROAD: median heading drift 2.8 degrees a minute, computed."""
SCALE_SHARE = 0.002
"""Weight of one sample in the usual step: a few seconds' worth of samples."""
SHAKEN_OVER_RAD = 1e-4
KNOCK_M_S2 = 12.0 * STANDARD_GRAVITY_M_S2
CLIPPED_KNOCK_M_S2 = 4.0 * STANDARD_GRAVITY_M_S2
"""Harder than a golfer moves (the latter: where something was at the end of its range): the filter is not shown such a
force."""
GAP_SD_RAD_S = math.radians(35.0)
"""Growth of the tilt's error over lost samples: a straight line across 0.3 s of a full downswing misses 11 degrees."""
CLIPPED_SD_RAD = math.radians(3.0)
"""Least error after a clipped sample."""
SHAKEN_DECAY_S = 3.0
"""The tilt comes back with the filter's own time constant (tau_acc = 3 s)."""


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
    scale: float = 1.0
    """Usual step over the nominal period."""
    bias: Floats = field(default_factory=lambda: np.zeros(3))
    """Gyroscope bias observed at the last rest."""
    acc_bias: Floats | None = None
    """(3,) zero-g offset that a fitting found."""
    candidate: Floats | None = None
    """A later one, `candidate_s` old, that counts when the rest goes on."""
    candidate_s: float = 0.0
    quiet_s: float = 0.0
    settled: bool = False
    """Whether the sensor has rested for `SETTLED_S` since it began: till then its "down" may be that of a movement."""
    heading_sd_rad: float = 0.0
    shaken_rad: float = 0.0
    """Error of the tilt by clipped and by lost samples."""
    clipped_s: float = 0.0
    """How long the gyroscope has been at the end of its range."""
    slope_rad_s2: float = 0.0
    """How fast the rate grew when it got there."""
    two: tuple[Floats, Floats] | None = None
    """The last two rates, oldest first."""


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

    def wants_alone(self, item: ImuBlock) -> bool:
        """Whether a packet has to be fed by itself, or all of a longer block would be taken for what it is: the first
        one, which tells the real rate; one with a flag; one after a gap."""
        s = self._state
        odd = s.last is None or s.skipped_s > 0.0 or any(item.flags.tobytes())
        return odd or float(item.dt_s.max()) >= GAP_STEPS * s.period_s

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
        if s.last is None:
            self._choose_period(item.dt_s)
        return [self._finite(item, seen) if s.settled or len(item.t_s) == 1 else self._unsettled(item, seen)]

    def _unsettled(self, item: ImuBlock, seen: int) -> OrientationBlock:
        """Sample by sample until the sensor has settled: so blocks of any size tell the same."""
        made, k = [], 0
        while k < len(item.t_s) and not self._state.settled:
            made.append(self._finite(_part(item, slice(k, k + 1), clear=False), int(item.flags[k])))
            k += 1
        if k < len(item.t_s):
            made.append(self._finite(_part(item, slice(k, None), clear=False), seen))
        arrays = {
            one.name: np.concatenate([getattr(part, one.name) for part in made])
            for one in fields(OrientationBlock)
            if one.name != "sensor"
        }
        for array in arrays.values():
            array.flags.writeable = False
        return OrientationBlock(self.sensor, **arrays)

    def _finite(self, item: ImuBlock, seen: int) -> OrientationBlock:
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
        forces2 = (acc * acc).sum(axis=1)
        if forces2.max() > KNOCK_M_S2**2 or seen & _SATURATED:
            acc = self._calmed(item, acc, forces2)
        real = None
        if max(steps) >= GAP_STEPS * s.period_s:
            s.settled = s.settled and max(steps) <= BRIDGE_S
            gyr, acc, steps, real = self._bridged(gyr, acc, before, steps)
        out = self._run(item, gyr, acc, before[0], steps, seen, real)
        if not s.settled:
            self._settle(out)
        return replace(out, acc_m_s2=frozen(felt)) if self._tells_knocks and felt is not acc else out

    def _settle(self, last: OrientationBlock) -> None:
        """Look for "down" anew where the filter took it from a movement. Its heading was of no meaning yet."""
        s = self._state
        if s.quiet_s < LEVEL_S:
            return
        force = last.acc_m_s2.mean(axis=0)
        w, x, y, z = last.q_es[-1]
        up = np.array([2 * (x * z - w * y), 2 * (y * z + w * x), w * w - x * x - y * y + z * z])
        if float(force @ up) < math.cos(LEVEL_OFF_RAD) * math.sqrt(float(force @ force)):
            self._filter = make(self._name, s.period_s)
        s.settled = s.quiet_s >= SETTLED_S

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

    def _calmed(self, item: ImuBlock, acc: Floats, forces2: Floats) -> Floats:
        """Forces with those of a knock, and those at the end of the range, replaced by the last calm one.

        A few samples of many g would tip the filter's vertical by degrees, for seconds.
        """
        s = self._state
        clipped = (item.flags & np.uint8(_SATURATED)) != 0
        wild = (forces2 > KNOCK_M_S2**2) | (clipped & (forces2 > CLIPPED_KNOCK_M_S2**2))
        acc = acc.copy()
        calm = s.calm
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
        seen: int,
        real: npt.NDArray[np.intp] | None,
    ) -> OrientationBlock:
        """Orientation at the `real` ones of some samples, by default all."""
        s = self._state
        # the turn of a step is the mean of the rates at its two ends; the rate at its end alone would put every
        # orientation half a step ahead: 1 degree at 400 °/s and 200 Hz
        ends = np.concatenate((before[None], gyr))
        half = np.array(steps) * (0.5 / s.period_s)
        q_es, bias, observed = self._filter.run((ends[1:] + ends[:-1]) * half[:, None], acc)
        held = self._held(bias, observed.tolist(), steps)
        if real is not None:
            q_es, gyr, acc = q_es[real], gyr[real], acc[real]
            held = held if held.ndim == 1 else held[real]
        s.calm = acc[-1]
        gyr = gyr - held
        inclination_sd, heading_sd, rest = self._known(item, gyr, acc, seen)
        return OrientationBlock(
            sensor=self.sensor,
            t_s=item.t_s,
            q_es=frozen(q_es),
            gyr_rad_s=frozen(gyr),
            acc_m_s2=frozen(acc),
            bias_rad_s=frozen(np.broadcast_to(held, gyr.shape)),
            rest=frozen(rest, np.bool_),
            inclination_sd_rad=frozen(inclination_sd),
            heading_sd_rad=frozen(heading_sd),
            flags=item.flags,
        )

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

    def _held(self, bias: Floats, observed: list[bool], steps: list[float]) -> Floats:
        """(N, 3), or (3,) if it stays the same: the last bias that was observed at rest, and that rest went on after
        for a while.

        What a filter infers in motion serves its own tilt but is worse than nothing for the turn between two sensors
        (DEVELOPERS.md, decision 15); and the end of a rest is the beginning of a slow movement.
        """
        s = self._state
        period_s, scale = s.period_s, s.scale
        if True not in observed:
            s.candidate = None
            for step in steps:
                scale += SCALE_SHARE * (min(max(step / period_s, 0.5), 2.0) - scale)
            s.scale = scale
            s.candidate_s += sum(steps)
            return s.bias
        held = np.empty(bias.shape)
        for i, (seen, step) in enumerate(zip(observed, steps, strict=True)):
            # the filter's bias is one of scaled rates; taken off with the usual scale and not with that of the sample,
            # or one odd step would make a spike of the bias
            s.scale += SCALE_SHARE * (min(max(step / period_s, 0.5), 2.0) - s.scale)
            if not seen:
                s.candidate = None
            elif s.candidate is None or s.candidate_s >= SETTLE_S:
                s.bias = s.bias if s.candidate is None else s.candidate
                s.candidate, s.candidate_s = bias[i] / s.scale, 0.0
            s.candidate_s += step
            held[i] = s.bias
        return held

    def _restart(self, item: ImuBlock) -> list[OrientationBlock]:
        """The sensor was off: what the filter knew of its orientation is void, and the heading with it."""
        at = int(np.flatnonzero(item.flags & np.uint8(_RESTART))[0])
        out = self.feed(_part(item, slice(0, at), clear=False)) if at else []
        old = self._state
        self._filter = make(self._name, old.period_s)
        self._state = _State(filter=None, period_s=old.period_s, heading_sd_rad=math.pi, acc_bias=old.acc_bias)
        return out + self.feed(_part(item, slice(at, None), clear=True))

    def _bridged(
        self, gyr: Floats, acc: Floats, before: tuple[Floats, Floats], steps: list[float]
    ) -> tuple[Floats, Floats, list[float], npt.NDArray[np.intp]]:
        """Samples with lost ones put in along straight lines, their steps, and which of them are real."""
        s = self._state
        s.shaken_rad += GAP_SD_RAD_S * (sum(steps) - len(steps) * s.period_s)
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

    def _known(
        self, item: ImuBlock, gyr: Floats, acc: Floats, seen: int
    ) -> tuple[list[float], list[float], list[bool]]:
        """Standard deviations of the tilt, and of the heading since the filter began; and whether the sensor rests.

        Sample by sample in plain numbers: for the few of a packet that is faster than arrays.
        """
        s = self._state
        forces2 = (acc * acc).sum(axis=1).tolist()
        clipped = seen & _SATURATED or s.shaken_rad > SHAKEN_OVER_RAD
        flags = item.flags.tolist() if clipped else ()
        quiet_s, heading = s.quiet_s, s.heading_sd_rad
        slopes = self._slopes(gyr, item.dt_s) if clipped else ()
        tilts, headings, rests = [], [], []
        moving_sd = INCLINATION_SD_MOVING_RAD if s.settled else UNSETTLED_SD_RAD
        for i, ((x, y, z), step) in enumerate(zip(gyr.tolist(), item.dt_s.tolist(), strict=True)):
            heading += HEADING_DRIFT_SD_RAD_S * step
            quiet = False
            if x * x + y * y + z * z < QUIET_RATE_RAD_S**2:
                quiet = _LEAST_2 < forces2[i] < _MOST_2
            quiet_s = quiet_s + step if quiet else 0.0
            rest = quiet_s >= REST_S
            tilt = INCLINATION_SD_REST_RAD if rest else moving_sd
            if clipped and (flags[i] & _SATURATED or s.shaken_rad > SHAKEN_OVER_RAD):
                s.shaken_rad *= math.exp(-step / SHAKEN_DECAY_S)
                if flags[i] & _SATURATED:
                    s.slope_rad_s2 = s.slope_rad_s2 if s.clipped_s else slopes[i]
                    s.clipped_s += step
                    # a parabola on top of the limit: two thirds of its length times its height, a·T/4
                    lost = s.slope_rad_s2 * s.clipped_s**2 / 6.0
                    s.shaken_rad = max(s.shaken_rad, lost, CLIPPED_SD_RAD)
                else:
                    s.clipped_s = 0.0
                tilt = math.hypot(tilt, s.shaken_rad)
            else:
                s.clipped_s = 0.0
            tilts.append(tilt)
            headings.append(heading)
            rests.append(rest)
        s.quiet_s, s.heading_sd_rad = quiet_s, heading
        s.two = (gyr[-2] if len(gyr) > 1 else gyr[-1] if s.two is None else s.two[1], gyr[-1])
        return tilts, headings, rests

    def _slopes(self, gyr: Floats, dt_s: Floats) -> list[float]:
        """(N,) how fast the rate grew between the two samples before each."""
        before = self._state.two or (gyr[0], gyr[0])
        steps = np.diff(np.vstack((*before, gyr[:-1])), axis=0)
        slopes: list[float] = (np.sqrt((steps * steps).sum(axis=1)) / dt_s).tolist()
        return slopes


def _usable(item: ImuBlock) -> Bools:
    good: Bools = (item.flags & np.uint8(_INVALID)) == 0
    good &= np.isfinite(item.gyr_rad_s).all(axis=1) & np.isfinite(item.acc_m_s2).all(axis=1)
    good &= item.acc_m_s2.any(axis=1)  # no part of a sensor on earth feels nothing
    return good


def _part(item: ImuBlock, where: slice, *, clear: bool) -> ImuBlock:
    flags = item.flags[where]
    if clear:
        flags = flags & np.uint8(0xFF ^ _RESTART)
    return ImuBlock(item.sensor, item.t_s[where], item.dt_s[where], item.gyr_rad_s[where], item.acc_m_s2[where], flags)
