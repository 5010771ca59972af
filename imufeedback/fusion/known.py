"""How well one sensor's orientation is known, sample by sample: at rest, in motion, after lost or clipped samples.

Tilt and heading are told apart. Gravity brings the tilt back within seconds; nothing here brings the heading back, so
what may be wrong of it adds up, and whoever sets a heading (a zero, a joint) takes the difference from then on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Flag, Floats

_SATURATED = int(Flag.SATURATED)

GAP_STEPS = 1.5
"""Longer steps than so many periods have lost samples in them."""
QUIET_RATE_RAD_S = 0.10
QUIET_ACC_M_S2 = 1.0
"""From standard gravity: an uncorrected zero-g offset of 60 mg and a scale error must not hide a rest."""
_LEAST_2, _MOST_2 = (STANDARD_GRAVITY_M_S2 - QUIET_ACC_M_S2) ** 2, (STANDARD_GRAVITY_M_S2 + QUIET_ACC_M_S2) ** 2
_QUIET_RATE_2 = QUIET_RATE_RAD_S**2
REST_S = 0.3
"""A sensor is at rest after it was quiet for so long: slower than this and no golfer stands still at address."""
INCLINATION_SD_REST_RAD = math.radians(0.5)
INCLINATION_SD_MOVING_RAD = math.radians(1.0)
"""VQF's tilt error on the BROAD benchmark: 0.7 (undisturbed) to 1.0 degrees RMS (fast), computed with its defaults."""
TURNED_SHARE = 0.01
"""Of a turn, by which the tilt may be wrong after it: scale, axes, own acceleration. Chosen between swings of
synthetic golfers with typical sensors (2 % would cover what the pelvis' tilt is off) and the joints of a recording in
long movement (0)."""
TURNED_MOST_RAD = 1.2
"""More than a swing leaves is made of many turns, whose errors do not add up."""
_MOVING_2, _SHARE_2, _TURNED_MOST_2 = INCLINATION_SD_MOVING_RAD**2, TURNED_SHARE**2, TURNED_MOST_RAD**2
HEADING_DRIFT_SD_RAD_S = math.radians(3.0) / 60.0
"""VQF 6D on BROAD: median heading drift 2.8 degrees a minute, computed."""
SHAKEN_OVER_RAD = 1e-4
SHAKEN_FALLS_S = 3.0
"""The tilt comes back with the filter's own time constant (tau_acc = 3 s)."""

ALPHA_LEAST_RAD_S2 = math.radians(100.0)
"""Angular acceleration with which somebody who stood still may have begun to move meanwhile. Chosen."""
ALPHA_PER_S = 4.0
"""Angular acceleration over the rate that was seen lately. A swing to and fro once a second, cut out for 0.2, 0.3 and
0.5 s and replaced by a straight line, is off by ½·α·T² with α = 0.9, 1.3 and 1.8 times its highest rate; at the pace of
a downswing of 0.27 s, 0.3 s of it with 3.6 times (computed)."""
CURVED_S = 0.15
"""Across a shorter stretch both ends tell more: the straight line's error then grows with the third power."""
PACE_MEAN_S, PACE_FALLS_S = 0.05, 1.0
"""The rate seen lately: mean square over the first, so that a knock is none; its peak fades within the second."""
UNKNOWN_RAD = math.pi
"""More than this no angle can be wrong."""

FIRST_STILL_RAD, FIRST_PER_M_S2, FIRST_MOST_RAD = math.radians(2.0), math.radians(7.0), math.radians(45.0)
TURNING_M_S, TURNING_MOST_RAD_S = 1.0, 2.0
FIRST_HALVES_S = 0.4
"""Tilt of a filter that began in motion: 1 m/s² across tips the force by 6 degrees; how far the force's size is from
gravity, and the rate times a metre a second, tell how much there is. It falls as 1/(1 + t/0.4 s): walking,
14 to 23 degrees at once, 9 to 17 after 0.3 s, 5 to 10 after 0.8 s, 3 to 4 after 2 s (measured on one person)."""
SETTLED_S, SURELY_SETTLED_S = 1.0, 8.0
"""A filter has settled when the sensor was quiet for the first, or when it has run for the second."""
RELEVEL_RAD = math.radians(2.0)
"""Tilt that may be wrong by more is looked at again at the next quiet moment."""

BIAS_MOST_RAD_S = 0.5
"""More than any sensor's."""

CLIPPED_SD_RAD = math.radians(3.0)
"""Least error of the tilt after a clipped sample."""

FILTER_S = 0.02
"""What a filter that begins in motion has seen with its first sample. Chosen."""


def constants(period_s: float) -> list[float]:
    """In the order of the compiled form."""
    return [
        HEADING_DRIFT_SD_RAD_S, _QUIET_RATE_2, _LEAST_2, _MOST_2, PACE_MEAN_S, PACE_FALLS_S, REST_S, SHAKEN_FALLS_S,
        _MOVING_2, _SHARE_2, _TURNED_MOST_2, INCLINATION_SD_MOVING_RAD, SHAKEN_OVER_RAD, period_s, FIRST_STILL_RAD,
        FIRST_PER_M_S2, FIRST_MOST_RAD, TURNING_M_S, TURNING_MOST_RAD_S, FIRST_HALVES_S, STANDARD_GRAVITY_M_S2,
        FILTER_S, GAP_STEPS * period_s, ALPHA_LEAST_RAD_S2, ALPHA_PER_S, CURVED_S, UNKNOWN_RAD, RELEVEL_RAD
    ]  # fmt: skip


def lost_turn_rad(gap_s: float, pace_rad_s: float) -> float:
    """Standard deviation of the turn made in `gap_s` without samples, when a straight line is put across it."""
    alpha = max(ALPHA_LEAST_RAD_S2, ALPHA_PER_S * pace_rad_s)
    return min(0.5 * alpha * gap_s * gap_s * min(gap_s / CURVED_S, 1.0), UNKNOWN_RAD)


def unrest_m_s2(force2: float, rate2: float) -> float:
    """How far one force (m²/s⁴, squared) may be from gravity, with the rate (rad²/s², squared) that went with it."""
    turning = TURNING_M_S * min(math.sqrt(rate2), TURNING_MOST_RAD_S)
    return abs(math.sqrt(force2) - STANDARD_GRAVITY_M_S2) + turning


def first_tilt_rad(unrest: float) -> float:
    """Standard deviation of a tilt taken from one force."""
    return min(FIRST_STILL_RAD + FIRST_PER_M_S2 * unrest, FIRST_MOST_RAD)


Each: TypeAlias = list[float]
"""A number for each sample."""


@dataclass
class Clip:
    """A stretch in which an axis stood at the end of its range."""

    lasted_s: float = 0.0
    good: Sequence[float] = (0.0, 0.0, 0.0)
    """The last rate before it."""
    slope_rad_s2: float = 0.0
    """How fast the rate grew when it got there."""
    false_rad: float = 0.0
    """Turn that would be false if the rate had stayed as it was before."""
    lost_rad: float = 0.0

    def more(self, rate: Sequence[float], step_s: float) -> float:
        """One sample more; returns by how much the turn may be wrong now (a standard deviation).

        The true rate lies beyond the end of the range (a parabola on top of it: two thirds of its length times its
        height, a·T/4), or anywhere between there and the last good rate, all such being equally likely: a sensor that
        is overloaded can stand at its end while nothing turns.
        """
        self.lasted_s += step_s
        self.false_rad += math.dist(rate, self.good) * step_s
        beyond = self.slope_rad_s2 * self.lasted_s**2 / 6.0
        self.lost_rad = min(max(self.lost_rad, beyond, self.false_rad / math.sqrt(3.0)), UNKNOWN_RAD)
        return self.lost_rad


@dataclass
class Knowledge:
    """State, and what it tells of every sample. `told` is the only one that moves it on."""

    heading_sd_rad: float = 0.0
    quiet_s: float = 0.0
    settled: bool = False
    """Whether "down" is to be trusted: till then it may be that of a movement."""
    begun_s: float | None = 0.0
    """Since the filter began; None once it has settled."""
    unrest: float = 0.0
    """Mean of `unrest_m_s2` since then."""
    shaken_rad: float = 0.0
    """Error of the tilt by clipped and by lost samples."""
    clip: Clip | None = None
    pace2: float = 0.0
    """Square of the rate seen lately."""
    mean2: float = 0.0
    turn: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """Turn made lately (rad, sensor frame), as far as it was not undone and not forgotten."""
    two: list[list[float]] = field(default_factory=list)
    """The last two rates, oldest first."""

    def begin(self, heading_lost_rad: float = 0.0) -> None:
        """A filter that begins anew: "down" comes from the force; the heading may be wrong by so much more."""
        self.heading_sd_rad += heading_lost_rad
        self.quiet_s, self.settled, self.begun_s, self.unrest = 0.0, False, 0.0, 0.0
        self.shaken_rad, self.clip = 0.0, None

    def doubted(self, force2: float, rate2: float) -> bool:
        """Whether one force tells the tilt better than a filter that has lost it."""
        return self.shaken_rad > RELEVEL_RAD and first_tilt_rad(unrest_m_s2(force2, rate2)) < self.shaken_rad

    def lost(self, gap_s: float, rate2: float) -> float:
        """What a gap has cost; `rate2` of the sample after it."""
        return lost_turn_rad(gap_s, math.sqrt(max(self.pace2, rate2)))

    def stays_settled(self, gyr: Floats, dt_s: Floats, period_s: float) -> bool:
        """Whether no gap among `dt_s` (N,) can leave the tilt so wrong that it is to be judged at once; `gyr` (N, 3)
        has its bias."""
        gaps_s = dt_s[dt_s >= GAP_STEPS * period_s].tolist()
        if not gaps_s:
            return True
        pace = math.sqrt(max(self.pace2, float((gyr * gyr).sum(axis=1).max()))) + BIAS_MOST_RAD_S
        lost = [lost_turn_rad(gap_s, pace) for gap_s in gaps_s]
        return math.hypot(max(self.shaken_rad, 0.5 * RELEVEL_RAD), *lost) < RELEVEL_RAD

    def told(
        self, gyr: Floats, acc: Floats, steps_s: list[float], period_s: float, flags: list[int]
    ) -> tuple[Each, Each, Each]:
        """Standard deviations of the filter's tilt, and of the heading since the session began; and for how long the
        sensor has been quiet: from `REST_S` on it rests.

        `gyr` (N, 3) without bias, `acc` (N, 3), `steps_s` as they really were; `flags` are empty where no sample is at
        the end of its range. Sample by sample in plain numbers: for the few of a packet that is faster than arrays.
        """
        gap_s = GAP_STEPS * period_s
        forces2 = (acc * acc).sum(axis=1).tolist()
        rates = gyr.tolist()
        quiet_s, heading, pace2, mean2 = self.quiet_s, self.heading_sd_rad, self.pace2, self.mean2
        turn_x, turn_y, turn_z = self.turn
        tilts, headings, quiets = [], [], []
        for i, (rate, step) in enumerate(zip(rates, steps_s, strict=True)):
            x, y, z = rate
            rate2 = x * x + y * y + z * z
            heading += HEADING_DRIFT_SD_RAD_S * step
            clipped = bool(flags and flags[i] & _SATURATED)
            quiet = rate2 < _QUIET_RATE_2 and _LEAST_2 < forces2[i] < _MOST_2 and not clipped
            if step >= gap_s:
                lost = lost_turn_rad(step, math.sqrt(max(pace2, rate2)))
                heading += lost
                self.shaken_rad = math.hypot(self.shaken_rad, lost)
                self.settled = self.settled and self.shaken_rad <= RELEVEL_RAD
                if lost > RELEVEL_RAD:  # a lost packet is no end of a rest
                    quiet_s = 0.0
            # in plain comparisons: `min` and `max` cost more than all the rest of this
            share = step / PACE_MEAN_S
            mean2 += (rate2 - mean2) * (share if share < 1.0 else 1.0)
            fade = 1.0 - 2.0 * step / PACE_FALLS_S
            pace2 *= fade if fade > 0.0 else 0.0
            if mean2 > pace2:
                pace2 = mean2
            quiet_s = quiet_s + step if quiet else 0.0
            rest = quiet_s >= REST_S
            share = step / SHAKEN_FALLS_S
            kept = 1.0 - (share if share < 1.0 else 1.0)
            turn_x, turn_y, turn_z = (turn_x + x * step) * kept, (turn_y + y * step) * kept, (turn_z + z * step) * kept
            turn2 = turn_x * turn_x + turn_y * turn_y + turn_z * turn_z
            tilt = math.sqrt(_MOVING_2 + _SHARE_2 * (turn2 if turn2 < _TURNED_MOST_2 else _TURNED_MOST_2))
            if self.begun_s is not None and not rest:
                tilt = max(self._first(step, forces2[i], rate2, period_s), INCLINATION_SD_MOVING_RAD)
            if self.clip is not None or clipped:
                heading += self._clipped(rates, i, step, clipped)
            if self.shaken_rad > SHAKEN_OVER_RAD:
                tilt = math.hypot(tilt, self.shaken_rad)
                self.shaken_rad *= math.exp(-step / SHAKEN_FALLS_S)
            tilts.append(tilt)
            headings.append(heading)
            quiets.append(quiet_s)
        self.quiet_s, self.heading_sd_rad, self.pace2, self.mean2 = quiet_s, heading, pace2, mean2
        self.turn = turn_x, turn_y, turn_z
        self.saw(rates[-2:])
        return tilts, headings, quiets

    @property
    def numbers(self) -> tuple[float, ...]:
        """The state of a sensor within its range, in the order of the compiled form."""
        begun_s = math.nan if self.begun_s is None else self.begun_s
        pace = self.pace2, self.mean2, *self.turn
        return self.heading_sd_rad, self.quiet_s, *pace, begun_s, self.unrest, self.shaken_rad, float(self.settled)

    @numbers.setter
    def numbers(self, values: Sequence[float]) -> None:
        heading, self.quiet_s, self.pace2, self.mean2, x, y, z, begun_s, self.unrest, shaken_rad, settled = values
        self.heading_sd_rad, self.shaken_rad, self.turn, self.settled = heading, shaken_rad, (x, y, z), settled > 0.0
        self.begun_s = None if math.isnan(begun_s) else begun_s

    def saw(self, rates: list[list[float]]) -> None:
        """The last rates that were told."""
        self.two = (self.two + rates)[-2:]

    def _first(self, step: float, force2: float, rate2: float, period_s: float) -> float:
        """Tilt of a filter that has not settled, after one more sample."""
        assert self.begun_s is not None
        self.begun_s += min(step, 2.0 * period_s)
        share = min(1.0, (period_s + FILTER_S) / (self.begun_s + FILTER_S))
        self.unrest += share * (unrest_m_s2(force2, rate2) - self.unrest)
        return first_tilt_rad(self.unrest) / (1.0 + self.begun_s / FIRST_HALVES_S)

    def _clipped(self, rates: list[list[float]], i: int, step: float, now: bool) -> float:
        """One sample at the end of the range, or the first one after; returns what the heading has lost by it."""
        if not now:
            self.clip = None
            return 0.0
        if self.clip is None:
            self.clip = self._clip_begun(rates, i, step)
        before = self.clip.lost_rad
        lost = self.clip.more(rates[i], step)
        self.shaken_rad = max(self.shaken_rad, lost, CLIPPED_SD_RAD)
        self.settled = self.settled and self.shaken_rad <= RELEVEL_RAD
        return lost - before

    def _clip_begun(self, rates: list[list[float]], i: int, step: float) -> Clip:
        known = [*self.two, *rates[max(i - 2, 0) : i]][-2:]
        if not known:
            return Clip(good=rates[i])
        return Clip(good=known[-1], slope_rad_s2=math.dist(known[0], known[-1]) / step)

    @property
    def long(self) -> bool:
        """Whether the filter has run for so long that it settles without a rest."""
        return self.begun_s is None or self.begun_s > SURELY_SETTLED_S

    def settle(self) -> None:
        """Whether the filter has settled, after the samples that were told last."""
        self.settled = self.quiet_s >= SETTLED_S or (self.long and self.shaken_rad <= 0.5 * RELEVEL_RAD)
        if self.settled:
            self.begun_s = None
