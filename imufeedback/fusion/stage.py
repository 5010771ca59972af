"""Feeds one sensor's samples to its filter, and keeps what the filter cannot know out of it."""

from __future__ import annotations

import copy
import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.fusion.filters import make
from imufeedback.records import Bools, Flag, Floats, ImuBlock, OrientationBlock, frozen
from imufeedback.stage import Stage

# plain integers: numpy meets an IntFlag with a dozen attribute look-ups
_RESTART, _INVALID, _SATURATED = int(Flag.RESTART), int(Flag.INVALID), int(Flag.SATURATED)

BRIDGE_S = 0.5
"""Longest gap over which lost samples are put in; beyond it the heading is unknown anyway."""
QUIET_RATE_RAD_S = 0.10
QUIET_ACC_M_S2 = 0.5
_LEAST_2, _MOST_2 = (STANDARD_GRAVITY_M_S2 - QUIET_ACC_M_S2) ** 2, (STANDARD_GRAVITY_M_S2 + QUIET_ACC_M_S2) ** 2
SETTLE_S = 0.5
"""An observed bias counts once the rest has gone on for so long after it."""
RATE_OFF = 0.05
"""A real sample period that differs by a larger share from the declared one gets a filter of its own."""
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
SATURATED_SD_RAD = math.radians(3.0)
SATURATED_DECAY_S = 3.0
"""A clipped stretch loses turn; tilt comes back with the filter's own time constant (tau_acc = 3 s)."""


@dataclass
class _State:
    filter: Any
    period_s: float
    """Period at which the filter runs: the nominal one, or the real one where that is far off."""
    last: tuple[Floats, Floats] | None = None
    """Last usable gyroscope and accelerometer sample."""
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
    heading_sd_rad: float = 0.0
    shaken_rad: float = 0.0


class Fusion(Stage[ImuBlock, OrientationBlock]):
    """One sensor's orientation. `filter_name` is a file of `fusion.filters`; `period_s` the nominal sample period.

    Every sample is integrated over its own step: the filter runs at the nominal period on rates scaled by
    ``step / period``, so the turn is right at any real rate. Lost samples are put in along a straight line and not
    passed on; a sample that is not a number costs itself only.
    """

    _state: _State

    def __init__(self, sensor: str, *, filter_name: str = "vqf", period_s: float = 0.005) -> None:
        self.sensor = sensor
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

    def feed(self, item: ImuBlock) -> list[OrientationBlock]:
        seen = int(np.bitwise_or.reduce(item.flags)) if any(item.flags.tobytes()) else 0
        if seen & _RESTART:
            return self._restart(item)
        s = self._state
        gyr, acc = item.gyr_rad_s, item.acc_m_s2
        if s.acc_bias is not None:
            acc = acc - s.acc_bias
        # one product over all of them is finite only if every one is
        if seen & _INVALID or not math.isfinite(np.vdot(gyr, acc)):
            good = _usable(item)
            if not good.any() and s.last is None:
                return []  # nothing to start from yet
            gyr, acc = self._repaired(gyr, acc, good)
        if s.last is None:
            self._choose_period(item.dt_s)
        before, s.last = s.last, (gyr[-1], acc[-1])
        if before is None:
            before = (gyr[0], acc[0])
            steps = [s.period_s, *item.dt_s.tolist()[1:]]
        else:
            steps = item.dt_s.tolist()
        if max(steps) < 1.5 * s.period_s:
            return [self._run(item, gyr, acc, before[0], steps, seen, None)]
        gyr, acc, steps, real = self._bridged(gyr, acc, before, steps)
        return [self._run(item, gyr, acc, before[0], steps, seen, real)]

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

    def _repaired(self, gyr: Floats, acc: Floats, good: Bools) -> tuple[Floats, Floats]:
        """Samples with each unusable one replaced by the last usable one."""
        gyr, acc = gyr.copy(), acc.copy()
        for i in np.flatnonzero(~good):
            source = (gyr[i - 1], acc[i - 1]) if i else self._state.last
            if source is None:  # nothing before: take the first good one after
                j = int(np.argmax(good))
                source = (gyr[j], acc[j])
            gyr[i], acc[i] = source
        return gyr, acc

    def _bridged(
        self, gyr: Floats, acc: Floats, before: tuple[Floats, Floats], steps: list[float]
    ) -> tuple[Floats, Floats, list[float], npt.NDArray[np.intp]]:
        """Samples with lost ones put in along straight lines, their steps, and which of them are real."""
        bridged = np.minimum(steps, BRIDGE_S)
        counts = np.maximum(np.rint(bridged / self._state.period_s).astype(int), 1)
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
        clipped = seen & _SATURATED or s.shaken_rad > SHAKEN_OVER_RAD
        flags = item.flags.tolist() if clipped else ()
        quiet_s, heading = s.quiet_s, s.heading_sd_rad
        tilts, headings, rests = [], [], []
        forces = acc.tolist()
        for i, ((x, y, z), step) in enumerate(zip(gyr.tolist(), item.dt_s.tolist(), strict=True)):
            heading += HEADING_DRIFT_SD_RAD_S * step
            quiet = False
            if x * x + y * y + z * z < QUIET_RATE_RAD_S**2:
                a, b, c = forces[i]
                quiet = _LEAST_2 < a * a + b * b + c * c < _MOST_2
            quiet_s = quiet_s + step if quiet else 0.0
            rest = quiet_s >= REST_S
            tilt = INCLINATION_SD_REST_RAD if rest else INCLINATION_SD_MOVING_RAD
            if clipped:
                now = flags[i] & _SATURATED
                s.shaken_rad = SATURATED_SD_RAD if now else s.shaken_rad * math.exp(-step / SATURATED_DECAY_S)
                tilt = math.hypot(tilt, s.shaken_rad)
            tilts.append(tilt)
            headings.append(heading)
            rests.append(rest)
        s.quiet_s, s.heading_sd_rad = quiet_s, heading
        return tilts, headings, rests


def _usable(item: ImuBlock) -> Bools:
    good: Bools = (item.flags & np.uint8(_INVALID)) == 0
    good &= np.isfinite(item.gyr_rad_s).all(axis=1) & np.isfinite(item.acc_m_s2).all(axis=1)
    return good


def _part(item: ImuBlock, where: slice, *, clear: bool) -> ImuBlock:
    flags = item.flags[where]
    if clear:
        flags = flags & np.uint8(0xFF ^ _RESTART)
    return ImuBlock(item.sensor, item.t_s[where], item.dt_s[where], item.gyr_rad_s[where], item.acc_m_s2[where], flags)
