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
        seen = int(np.bitwise_or.reduce(item.flags))
        if seen & _RESTART:
            return self._restart(item)
        gyr, acc = item.gyr_rad_s, item.acc_m_s2
        if self._state.acc_bias is not None:
            acc = acc - self._state.acc_bias
        if seen & _INVALID or not math.isfinite(float(gyr.sum()) + float(acc.sum())):
            good = _usable(item)
            if not good.any() and self._state.last is None:
                return []  # nothing to start from yet
            gyr, acc = self._repaired(gyr, acc, good)
        before = self._state.last
        if before is None:
            self._choose_period(item.dt_s)
        gyr, acc, dt_s, real = self._bridged(item, gyr, acc)
        # the turn of a step is the mean of the rates at its two ends; the rate at its end alone would put every
        # orientation half a step ahead: 1 degree at 400 °/s and 200 Hz
        mean = gyr.copy()
        mean[1:] = 0.5 * (gyr[1:] + gyr[:-1])
        if before is not None:
            mean[0] = 0.5 * (gyr[0] + before[0])
        scale = dt_s / self._state.period_s
        q_es, bias, observed = self._filter.run(mean * scale[:, None], acc)
        held = self._held(bias / self._usual_scale(scale)[:, None], observed, dt_s)[real]
        return [self._block(item, q_es[real], gyr[real] - held, acc[real], held, seen)]

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

    def _held(self, bias: Floats, observed: Bools, dt_s: Floats) -> Floats:
        """(N, 3) the last bias that was observed at rest, and that rest went on after for a while.

        What a filter infers in motion serves its own tilt but is worse than nothing for the turn between two sensors
        (DEVELOPERS.md, decision 15); and the end of a rest is the beginning of a slow movement.
        """
        s = self._state
        held = np.empty_like(bias)
        for i, (seen, step) in enumerate(zip(observed.tolist(), dt_s.tolist(), strict=True)):
            if not seen:
                s.candidate = None
            elif s.candidate is None or s.candidate_s >= SETTLE_S:
                s.bias = s.bias if s.candidate is None else s.candidate
                s.candidate, s.candidate_s = bias[i].copy(), 0.0
            s.candidate_s += step
            held[i] = s.bias
        return held

    def _usual_scale(self, scale: Floats) -> Floats:
        """(N,) slow mean of the scale: the filter's bias is one of scaled rates. Not the scale of each sample, or one
        odd step would make a spike of the bias."""
        s = self._state
        usual = np.empty(len(scale))
        for i, now in enumerate(scale.tolist()):
            s.scale += SCALE_SHARE * (min(max(now, 0.5), 2.0) - s.scale)
            usual[i] = s.scale
        return usual

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
        self, item: ImuBlock, gyr: Floats, acc: Floats
    ) -> tuple[Floats, Floats, Floats, npt.NDArray[np.intp] | slice]:
        """Samples with lost ones put in, their steps, and which of them are real."""
        s = self._state
        before, s.last = s.last, (gyr[-1].copy(), acc[-1].copy())
        steps = item.dt_s
        if before is None:
            steps = steps.copy()
            steps[0] = s.period_s
            before = (gyr[0], acc[0])
        if steps.max() < 1.5 * s.period_s:
            return gyr, acc, steps, slice(None)
        steps = np.minimum(steps, BRIDGE_S)
        counts = np.maximum(np.rint(steps / s.period_s).astype(int), 1)
        gyr, acc = np.vstack((before[0], gyr)), np.vstack((before[1], acc))
        real = np.cumsum(counts) - 1
        place = np.concatenate(([-1.0], real.astype(float)))
        at = np.arange(int(real[-1]) + 1, dtype=float)
        gyr, acc = (np.column_stack([np.interp(at, place, x[:, k]) for k in range(3)]) for x in (gyr, acc))
        return gyr, acc, np.repeat(steps / counts, counts), real

    def _block(
        self, item: ImuBlock, q_es: Floats, gyr: Floats, acc: Floats, bias: Floats, seen: int
    ) -> OrientationBlock:
        rest = self._rest(gyr, acc, item.dt_s)
        inclination_sd, heading_sd = self._spread(item, rest, seen)
        return OrientationBlock(
            sensor=self.sensor,
            t_s=item.t_s,
            q_es=frozen(q_es),
            gyr_rad_s=frozen(gyr),
            acc_m_s2=frozen(acc),
            bias_rad_s=frozen(bias),
            rest=frozen(rest, np.bool_),
            inclination_sd_rad=frozen(inclination_sd),
            heading_sd_rad=frozen(heading_sd),
            flags=item.flags,
        )

    def _rest(self, gyr: Floats, acc: Floats, dt_s: Floats) -> Bools:
        s = self._state
        quiet = (np.einsum("ij,ij->i", gyr, gyr) < QUIET_RATE_RAD_S**2) & (
            np.abs(np.sqrt(np.einsum("ij,ij->i", acc, acc)) - STANDARD_GRAVITY_M_S2) < QUIET_ACC_M_S2
        )
        rest = np.empty(len(quiet), dtype=bool)
        for i, (still, step) in enumerate(zip(quiet.tolist(), dt_s.tolist(), strict=True)):
            s.quiet_s = s.quiet_s + step if still else 0.0
            rest[i] = s.quiet_s >= REST_S
        return rest

    def _spread(self, item: ImuBlock, rest: Bools, seen: int) -> tuple[Floats, Floats]:
        """Standard deviations of tilt, and of the heading since the filter began."""
        s = self._state
        heading = s.heading_sd_rad + HEADING_DRIFT_SD_RAD_S * np.cumsum(item.dt_s)
        s.heading_sd_rad = float(heading[-1])
        tilt = np.full(len(rest), INCLINATION_SD_MOVING_RAD)
        tilt[rest] = INCLINATION_SD_REST_RAD
        if seen & _SATURATED or s.shaken_rad > SHAKEN_OVER_RAD:
            clipped = (item.flags & np.uint8(_SATURATED)) != 0
            for i, (now, step) in enumerate(zip(clipped.tolist(), item.dt_s.tolist(), strict=True)):
                s.shaken_rad = SATURATED_SD_RAD if now else s.shaken_rad * math.exp(-step / SATURATED_DECAY_S)
                tilt[i] = math.hypot(tilt[i], s.shaken_rad)
        return tilt, heading


def _usable(item: ImuBlock) -> Bools:
    good: Bools = (item.flags & np.uint8(_INVALID)) == 0
    good &= np.isfinite(item.gyr_rad_s).all(axis=1) & np.isfinite(item.acc_m_s2).all(axis=1)
    return good


def _part(item: ImuBlock, where: slice, *, clear: bool) -> ImuBlock:
    flags = item.flags[where]
    if clear:
        flags = flags & np.uint8(0xFF ^ _RESTART)
    return ImuBlock(item.sensor, item.t_s[where], item.dt_s[where], item.gyr_rad_s[where], item.acc_m_s2[where], flags)
