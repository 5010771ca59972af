"""What a stretch of ticks shows: standing still, a movement, and which sensor made it. Knows nothing of places yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.body.ticks import TICK_S, SensorTick
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Bools, Floats

BIN_TICKS = 12
"""About half a second."""
STILL_RATE_RAD_S = 0.12
"""Of any sensor, bias of the gyroscope included: 7 °/s."""
STILL_CHANGE_RAD_S = float(np.deg2rad(1.7))
"""Between the mean rates of half seconds of one sensor: body sway stays under it."""
TURN_CHANGE_RAD_S = float(np.deg2rad(0.8))
"""The same about the vertical, in the mean of all sensors: a slow turn (3 °/s) that begins or ends is over it."""
TURNING_RAD_S, TURNING_EACH_RAD_S = float(np.deg2rad(2.0)), float(np.deg2rad(1.2))
"""About the vertical in the middle of the sensors, and the same way in each: not three biases but a turn."""
STILL_LEAN_RAD = float(np.deg2rad(1.6))
"""Between the mean gravity directions of half seconds."""
STILL_ACC_M_S2 = 0.5
BIG_RAD = float(np.deg2rad(25.0))
"""A knee lift or a bow tips its sensor by more."""
BESIDE = 0.45
"""What another sensor tips by, over the one that moves most, while it still only goes along."""
ALONG_RAD = float(np.deg2rad(12.0))
SAT_RAD, SAT_S = float(np.deg2rad(45.0)), 1.2
"""Two sensors tipped by so much for so long: thighs of somebody who sits."""
LIFT_PIVOT_M, BOW_PIVOT_M = -0.15, -0.09
"""The pivot of a thigh is at the hip, 0.2 m above its sensor (80 seeded players: -0.28 to -0.13); that of a bow with
the hips going back lies beside the sensor of the pelvis (-0.11 to 0.11). Between the two the stored role decides."""
RINGING = 0.55


def is_still(ticks: Sequence[SensorTick]) -> Bools:
    """(S,) which sensors were still all the time, and never missing.

    A slow turn has little variance in any short window, so half seconds are compared with each other (a bias of the
    gyroscope is the same in all of them, and nothing is asked about it here).
    """
    rate, acc = _column(ticks, "gyr_rad_s"), _column(ticks, "acc_m_s2")
    there = np.isfinite(rate[..., 0]).all(axis=0)
    bins = max(len(ticks) // BIN_TICKS, 2)
    rates = np.stack([part.mean(axis=0) for part in np.array_split(rate, bins)])
    accs = np.stack([part.mean(axis=0) for part in np.array_split(acc, bins)])
    middle = rates.mean(axis=0)
    with np.errstate(invalid="ignore"):
        change = np.linalg.norm(rates - middle, axis=-1).max(axis=0)
        ups = accs / np.linalg.norm(accs, axis=-1, keepdims=True)
        lean = np.linalg.norm(ups - ups.mean(axis=0), axis=-1).max(axis=0)
        fast = np.sqrt((rate**2).sum(axis=-1).mean(axis=0))
        shaken = np.linalg.norm(acc - acc.mean(axis=0), axis=-1).max(axis=0)
        about = (rates * ups.mean(axis=0)).sum(axis=-1)[:, there]
        still: Bools = (
            there
            & ~np.bool_(_turns(about))
            & (fast < STILL_RATE_RAD_S)
            & (change < STILL_CHANGE_RAD_S)
            & (lean < STILL_LEAN_RAD)
            & (shaken < STILL_ACC_M_S2)
        )
    return still


def _turns(about: Floats) -> bool:
    """Whether the whole body turns: `about` (half seconds, sensors) is the rate about the vertical.

    Biases differ from sensor to sensor and stay; what all of them feel alike is the body's.
    """
    if about.shape[1] < 2:
        return False
    together, each = about.mean(axis=1), about.mean(axis=0)
    changes = np.abs(together - together.mean()).max() > TURN_CHANGE_RAD_S
    alike = abs(np.sign(each).sum()) == len(each) and np.abs(each).min() > TURNING_EACH_RAD_S
    return bool(changes or (alike and np.median(np.abs(each)) > TURNING_RAD_S))


def up_in_sensor(ticks: Sequence[SensorTick]) -> Floats:
    """(S, 3) mean of earth's up by the filter, unit length."""
    up = _column(ticks, "R_es")[:, :, 2].mean(axis=0)
    out: Floats = up / np.linalg.norm(up, axis=-1, keepdims=True)
    return out


def tilt_from(up: Floats, tick: SensorTick) -> Floats:
    """(S,) angle by which each sensor is tipped away from `up` (S, 3); 0 for one that is not there."""
    return _tilt(tick.R_es[:, 2], up)


def tilts_from(up: Floats, ticks: Sequence[SensorTick]) -> Floats:
    """(T, S) the same at each of some ticks."""
    return _tilt(np.stack([one.R_es[:, 2] for one in ticks]), up)


def _tilt(now: Floats, up: Floats) -> Floats:
    out: Floats = np.nan_to_num(np.arccos(np.clip((now * up).sum(axis=-1), -1.0, 1.0)))
    return out


@dataclass(frozen=True, slots=True)
class Movement:
    """From standing to standing."""

    begin_s: float
    end_s: float
    peak_rad: Floats
    """(S,) greatest tilt of each sensor."""
    movers: tuple[int, ...]
    """Sensors that moved, the most tipped one first; the others went along."""
    pivot_m: float
    """Height of the first mover's pivot, against its sensor: below 0 the pivot is above the sensor."""

    @property
    def big(self) -> bool:
        return bool(self.peak_rad.max() >= BIG_RAD)

    def is_lift(self, stored: bool) -> bool:
        """It goes round a hip above the sensor; else a bow. `stored`: what the sensor's stored place says."""
        return stored if LIFT_PIVOT_M < self.pivot_m < BOW_PIVOT_M else self.pivot_m < BOW_PIVOT_M


def movement(ticks: Sequence[SensorTick], up: Floats) -> Movement:
    """What was done in some ticks, seen from the standing pose."""
    tilts = tilts_from(up, ticks)
    peak = tilts.max(axis=0)
    moved = np.flatnonzero(peak >= max(ALONG_RAD, BESIDE * float(peak.max())))
    order = moved[np.argsort(-peak[moved])]
    first = int(np.argmax(peak))
    return Movement(ticks[0].t_s, ticks[-1].t_s, peak, tuple(order.tolist()), pivot_height(ticks, first, up[first]))


def sits(ticks: Sequence[SensorTick], up: Floats) -> bool:
    """The last second was spent with two sensors tipped as thighs of somebody who sits."""
    count = round(SAT_S / TICK_S)
    if len(ticks) < count:
        return False
    tilts = tilts_from(up, ticks[-count:])
    return bool(((tilts > SAT_RAD).sum(axis=1) >= 2).all())


def alone(ticks: Sequence[SensorTick], up: Floats, limit_rad: float) -> Floats:
    """(S,) part of the time in which each sensor was tipped by more than the limit and no other one was."""
    away = tilts_from(up, ticks) > limit_rad
    only = away & (away.sum(axis=1) == 1)[:, None]
    out: Floats = only.mean(axis=0)
    return out


def pivot_height(ticks: Sequence[SensorTick], i: int, up: Floats) -> float:
    """Height of sensor i above the point about which it goes round, m, least squares of ``a = α × r + ω × (ω × r)``."""
    rate = np.stack([one.gyr_rad_s[i] for one in ticks])
    if len(ticks) < 8 or not np.isfinite(rate).all():
        return 0.0
    spin = np.gradient(rate, TICK_S, axis=0)
    gravity = STANDARD_GRAVITY_M_S2 * np.stack([one.R_es[i, 2] for one in ticks])
    acc = np.stack([one.acc_m_s2[i] for one in ticks]) - gravity
    columns = [np.cross(spin, e) + np.cross(rate, np.cross(rate, e)) for e in np.eye(3)]
    A = np.stack(columns, axis=-1).reshape(-1, 3)
    # along the axis of rotation nothing is seen: there it stays near 0
    r = np.linalg.solve(A.T @ A + 0.01 * len(ticks) * np.eye(3), A.T @ acc.ravel())
    return float(r @ up)


def ringing(ticks: Sequence[SensorTick]) -> Floats:
    """(S,) how much of each sensor's turning is quick to and fro, as of something loose: the second difference of the
    rate over the rate, root mean squares. A knee lift in 0.5 s has 0.2; swinging at 3 Hz has 0.5, at 5 Hz over 1."""
    rate = _column(ticks, "gyr_rad_s")
    if len(rate) < 5:
        return np.zeros(rate.shape[1])
    quick = np.diff(rate, n=2, axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        out = np.sqrt((quick**2).sum(axis=(0, 2)) / np.maximum((rate**2).sum(axis=(0, 2)), 1e-3 * len(rate)))
    known: Floats = np.nan_to_num(out)
    return known


def _column(ticks: Sequence[SensorTick], name: str) -> Floats:
    return np.stack([getattr(one, name) for one in ticks])
