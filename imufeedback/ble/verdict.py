"""Whether a sensor can be trusted: physics that any sensor must obey, in one line."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.ble.monitor import MonitorRow
from imufeedback.body.axes import judge as judge_axes
from imufeedback.constants import BATTERY_LOW_PERCENT, STANDARD_GRAVITY_M_S2, STILL_GRAVITY_BAND_M_S2
from imufeedback.records import Floats, Level
from imufeedback.timing.plausible import FROZEN_SAMPLES, REST_ACC_SD_M_S2, REST_GYR_SD_RAD_S

GRAVITY_M_S2 = (9.7, 9.9)
"""What a good accelerometer reads at rest: gravity is 9.78 to 9.83 on the earth's surface (WGS84), and 0.08 of
offset."""
REST_RATE_RAD_S = 0.1
"""More at rest is no bias of a working gyroscope (10 °/s at worst in data sheets), but a wrong unit or range."""
CHUNK_S = 0.5
TURN_DEG = 90.0
TURN_OFF_DEG = 10.0
FAIR_LOSS_PERCENT, POOR_LOSS_PERCENT = 1.0, 5.0
RATE_OFF = 0.02


@dataclass(frozen=True, slots=True)
class SensorGrade:
    """Good, fair (usable) or poor (not to be used), and why."""

    level: Level
    reasons: tuple[str, ...]

    def __str__(self) -> str:
        return f"{self.level}" + (f": {'; '.join(self.reasons)}" if self.reasons else "")


@dataclass(frozen=True, slots=True)
class StillSensor:
    """A sensor at rest."""

    gravity_m_s2: float
    rate_rad_s: float


@dataclass(frozen=True, slots=True)
class HandTurn:
    """A turn between two rests."""

    gyr_deg: float
    """By the gyroscope."""
    apart_deg: float
    """Between gravity as the accelerometer has it after the turn, and as the gyroscope says it must be."""


def rests(t_s: Floats, gyr: Floats, acc: Floats) -> list[tuple[int, int]]:
    """Stretches at rest as (begin, end) sample numbers, each at least two chunks long."""
    if len(t_s) < 2:
        return []
    size = max(2, round(CHUNK_S * (len(t_s) - 1) / max(t_s[-1] - t_s[0], 1e-9)))
    out: list[tuple[int, int]] = []
    for k in range(0, len(t_s) - size + 1, size):
        part = slice(k, k + size)
        quiet = acc[part].std(axis=0).max() < REST_ACC_SD_M_S2 and gyr[part].std(axis=0).max() < REST_GYR_SD_RAD_S
        if quiet and out and out[-1][1] == k and _same_pose(acc, out[-1], (k, k + size)):
            out[-1] = (out[-1][0], k + size)
        elif quiet:
            out.append((k, k + size))
    return [one for one in out if one[1] - one[0] >= 2 * size]


def _same_pose(acc: Floats, a: tuple[int, int], b: tuple[int, int]) -> bool:
    return bool(np.linalg.norm(acc[slice(*a)].mean(axis=0) - acc[slice(*b)].mean(axis=0)) < 3 * REST_ACC_SD_M_S2)


def still(gyr: Floats, acc: Floats, rest: tuple[int, int]) -> StillSensor:
    part = slice(*rest)
    return StillSensor(float(np.linalg.norm(acc[part].mean(axis=0))), float(np.linalg.norm(gyr[part].mean(axis=0))))


def turn(t_s: Floats, gyr: Floats, acc: Floats, before: tuple[int, int], after: tuple[int, int]) -> HandTurn:
    """The turn between two rests, the gyroscope's offset taken from the first."""
    middle = slice(before[1] - 1, after[0] + 1)
    rates = gyr[middle] - gyr[slice(*before)].mean(axis=0)
    steps = np.diff(t_s[middle])
    halves = 0.5 * (rates[1:] + rates[:-1]) * steps[:, None]
    total = Rotation.identity()
    for one in Rotation.from_rotvec(halves):
        total = total * one
    g_before, g_after = (acc[slice(*rest)].mean(axis=0) for rest in (before, after))
    expected = total.inv().apply(g_before)
    cosine = expected @ g_after / (np.linalg.norm(expected) * np.linalg.norm(g_after))
    gyr_deg = float(np.degrees(np.linalg.norm(halves.sum(axis=0))))
    return HandTurn(gyr_deg, float(np.degrees(np.arccos(np.clip(cosine, -1.0, 1.0)))))


def judge(row: MonitorRow, t_s: Floats, gyr: Floats, acc: Floats, *, turned: bool = False) -> SensorGrade:
    """The verdict on a sensor from its row and its samples; `turned` says that it should have been turned by 90°
    about two axes."""
    if not len(t_s):
        return SensorGrade(Level.POOR, (f"no data: {row.detail or row.link}",))
    poor, fair = _link(row)
    if _is_frozen(gyr, acc):
        poor.append("frozen: it repeats one value")
    quiet = rests(t_s, gyr, acc)
    if not quiet:
        fair.append("it was not still, so its scale is not checked: lay it down and check again")
    else:
        _weigh(still(gyr, acc, quiet[-1]), poor, fair)
        if turned:
            _judge_turn(t_s, gyr, acc, quiet, poor, fair)
    level = Level.POOR if poor else Level.FAIR if fair else Level.GOOD
    return SensorGrade(level, tuple(poor + fair))


def _link(row: MonitorRow) -> tuple[list[str], list[str]]:
    poor, fair = [], []
    if row.loss_percent > POOR_LOSS_PERCENT:
        poor.append(f"{row.loss_percent:.1f} % lost: bring it closer, use fewer sensors")
    elif row.loss_percent > FAIR_LOSS_PERCENT:
        fair.append(f"{row.loss_percent:.1f} % lost")
    if row.rate_hz is not None and abs(row.rate_hz / row.nominal_hz - 1) > RATE_OFF:
        fair.append(f"measures {row.rate_hz:.1f} times a second and declares {row.nominal_hz:.1f}")
    if row.battery_percent is not None and row.battery_percent <= BATTERY_LOW_PERCENT:
        fair.append(f"battery {row.battery_percent:.0f} %: charge it")
    if row.saturated_percent > 0:
        fair.append(f"{row.saturated_percent:.2f} % of the samples at the end of the range")
    if row.restarts:
        fair.append(f"its clock began anew {row.restarts} times: is the battery loose?")
    if row.rejected:
        fair.append(f"{row.rejected} packets could not be used")
    return poor, fair


def _is_frozen(gyr: Floats, acc: Floats) -> bool:
    last = np.hstack([gyr, acc])[-FROZEN_SAMPLES:]
    return len(last) == FROZEN_SAMPLES and bool((last == last[0]).all())


def _weigh(seen: StillSensor, poor: list[str], fair: list[str]) -> None:
    g = seen.gravity_m_s2
    if not STILL_GRAVITY_BAND_M_S2[0] <= g <= STILL_GRAVITY_BAND_M_S2[1]:
        poor.append(f"at rest it measures {g:.3g} m/s², and gravity is 9.81: {_guess(g)}")
    elif not GRAVITY_M_S2[0] <= g <= GRAVITY_M_S2[1]:
        fair.append(f"at rest it measures {g:.2f} m/s² instead of 9.7 to 9.9")
    if seen.rate_rad_s > REST_RATE_RAD_S:
        poor.append(
            f"at rest it turns by {np.degrees(seen.rate_rad_s):.0f} °/s: the unit or the scale of gyr is wrong, "
            "or the part is broken"
        )


_UNIT_MISTAKES = (
    (1 / STANDARD_GRAVITY_M_S2, "the values are in g, and the layout says m/s^2"),
    (STANDARD_GRAVITY_M_S2, "the values are in m/s^2, and the layout says g"),
    (1e-3, "the values are in g, and the layout says mg"),
    (1e3, "the values are in mg, and the layout says g"),
)


def _guess(gravity: float) -> str:
    """What gives such a number."""
    share = gravity / STANDARD_GRAVITY_M_S2
    for factor, mistake in _UNIT_MISTAKES:
        if abs(share / factor - 1) < 0.05:
            return mistake
    for factor in (0.125, 0.25, 0.5, 2.0, 4.0, 8.0):
        if abs(share / factor - 1) < 0.05:
            return f"its range is {1 / factor:g} times the one that the layout declares"
    return "scale, byte order or range of acc are wrong"


def _judge_turn(
    t_s: Floats, gyr: Floats, acc: Floats, quiet: list[tuple[int, int]], poor: list[str], fair: list[str]
) -> None:
    if len(quiet) < 2:
        poor.append("no turn seen: still for 2 s, turn it by 90° within 2 s, still again for 2 s")
        return
    turns = [turn(t_s, gyr, acc, a, b) for a, b in itertools.pairwise(quiet)]
    best = min(turns, key=lambda one: abs(one.gyr_deg - TURN_DEG))
    if abs(best.gyr_deg - TURN_DEG) > TURN_OFF_DEG:
        ratio = best.gyr_deg / TURN_DEG
        hint = "degrees and radians are mixed up" if ratio > 20 or ratio < 0.05 else "scale or range of gyr is wrong"
        poor.append(f"the turn of 90° reads {best.gyr_deg:.0f}°: {hint}")
        return
    axes = judge_axes(t_s, gyr, acc)
    if axes.wrong:
        poor.append(str(axes))
    elif best.apart_deg > TURN_OFF_DEG:
        poor.append(f"gyr and acc disagree on where down is, by {best.apart_deg:.0f}°: axes or signs are wrong")
    elif axes.kind == "unknown":
        fair.append("its turns do not show the sign of every axis: turn it about another level axis too")
