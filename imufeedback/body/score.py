"""How good a performed calibration is, in three levels with a reason; what is poor is refused."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from imufeedback.body.joint_problem import Shared
from imufeedback.body.matrices import from_q
from imufeedback.body.strapdown import Strapdown
from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Fit, Level, Segment, SegmentFit

SIDEWAYS_RAD = (float(np.deg2rad(14.0)), float(np.deg2rad(24.0)))
"""Between the axis of a knee lift and that of the bow, seen through the hip that both share: fair from the one, poor
from the other on. Well made ones: 4.6° RMS over 80 seeded lifts."""
USUAL_SD_RAD = float(np.deg2rad(5.0))
STANDING_RAD = (float(np.deg2rad(2.0)), float(np.deg2rad(3.2)))
"""Between gravity in the sensor before and after the movements. Well made ones stay under 0.5° on seeded players;
people stand differently by a degree or two (from memory)."""
TURNED_RAD = float(np.deg2rad(7.0))
"""About the vertical, by the gyroscope, against the middle of all sensors."""
ALONE_RAD, ALONE_TIMES = float(np.deg2rad(1.5)), 4.0
"""When the others changed by less, it was the sensor and not the player."""


def judged(
    found: Fit,
    shared: Mapping[Segment, Shared],
    still: Mapping[Segment, WindowSamples],
    again: Mapping[Segment, WindowSamples],
    whole: Mapping[Segment, WindowSamples],
) -> Fit:
    """The fit with levels, reasons and error bars that also heed what both standings and both knees say together."""
    change = {one: _between(still[one], again[one]) for one in still}
    turned = _turned(found, whole)
    out = []
    for one in found.segments:
        level, reason = _sideways(one, shared)
        for other in (
            _standings(one.segment, change),
            _round(one.segment, turned.get(one.segment, 0.0)),
            (one.level, one.reason),
        ):
            if _worse(other[0], level):
                level, reason = other
        out.append(_with(one, level, reason, change[one.segment]))
    return replace(found, method="standing + knee lifts + bows", segments=tuple(out))


def _with(one: SegmentFit, level: Level, reason: str | None, change_rad: float) -> SegmentFit:
    axes = np.full(3, one.sd_rad) if one.sd_axes_rad is None else np.array(one.sd_axes_rad)
    axes[[0, 2]] = np.hypot(axes[[0, 2]], 0.5 * change_rad)  # which of the two standings was the right one?
    axes.flags.writeable = False
    sd = float(np.sqrt(np.mean(axes**2)))
    return replace(one, level=level, reason=reason if level is not Level.GOOD else None, sd_rad=sd, sd_axes_rad=axes)


def _worse(a: Level, b: Level) -> bool:
    order = (Level.GOOD, Level.FAIR, Level.POOR)
    return order.index(a) > order.index(b)


def _graded(value: float, limits: tuple[float, float]) -> Level:
    return Level.GOOD if value < limits[0] else Level.FAIR if value < limits[1] else Level.POOR


def _sideways(one: SegmentFit, shared: Mapping[Segment, Shared]) -> tuple[Level, str | None]:
    turns = {thigh: other.turn_rad for thigh, other in shared.items()}
    if one.segment in turns and not _one_way(turns):
        level = _graded(_surely(shared[one.segment]), SIDEWAYS_RAD)
        how = "mostly" if level is Level.POOR else "partly"
        return level, f"{_name(one.segment)}: the knee lift was {how} sideways – lift straight up"
    if one.segment is Segment.PELVIS and _one_way(turns):
        level = _graded(min(_surely(other) for other in shared.values()), SIDEWAYS_RAD)
        return level, "pelvis: the bow was not straight forward – bow straight ahead of you"
    return Level.GOOD, None


def _surely(shared: Shared) -> float:
    """What is left of a turn when it is less sure than usual."""
    return abs(shared.turn_rad) - 1.5 * max(shared.sd_rad - USUAL_SD_RAD, 0.0)


def _one_way(turns: Mapping[Segment, float]) -> bool:
    """Both knees seem off to one and the same side: then it was the bow."""
    values = list(turns.values())
    return len(values) == 2 and values[0] * values[1] > 0 and min(abs(one) for one in values) > SIDEWAYS_RAD[0]


def _standings(segment: Segment, change: Mapping[Segment, float]) -> tuple[Level, str | None]:
    level = _graded(change[segment], STANDING_RAD)
    others = [value for one, value in change.items() if one is not segment]
    if others and change[segment] > max(ALONE_RAD, ALONE_TIMES * max(others)):
        level = Level.POOR
    if level is Level.POOR and others and min(others) > 0.8 * ALONE_RAD:
        return Level.FAIR, "you stood differently at the end – stand as at the beginning"
    return level, f"{_name(segment)}: the sensor is loose – tighten its strap"


def _round(segment: Segment, turned_rad: float) -> tuple[Level, str | None]:
    why = f"{_name(segment)}: the sensor is loose, or that side stands otherwise than before – tighten its strap"
    return (Level.POOR, why) if abs(turned_rad) > TURNED_RAD else (Level.GOOD, None)


def _turned(found: Fit, whole: Mapping[Segment, WindowSamples]) -> dict[Segment, float]:
    """By how much each sensor has turned about the vertical from standing to standing, against the others."""
    turns = {}
    for one in found.segments:
        rate = whole[one.segment].unbiased().gyr_rad_s
        if one.segment is not Segment.LEAD_FOREARM and len(rate):
            S = Strapdown(1.0 / whole[one.segment].rate_hz).turned(rate[None], rate[:1])[0, -1]
            R = from_q(one.q_sb)
            T = R.T @ S @ R
            turns[one.segment] = float(np.arctan2(T[0, 2] - T[2, 0], T[0, 0] + T[2, 2]))
    middle = float(np.median(list(turns.values()))) if turns else 0.0
    return {segment: turn - middle for segment, turn in turns.items()}


def _between(before: WindowSamples, after: WindowSamples) -> float:
    """Angle between gravity in the sensor in two standings."""
    if not len(before.acc_m_s2) or not len(after.acc_m_s2):
        return 0.0
    a, b = before.acc_m_s2.mean(axis=0), after.acc_m_s2.mean(axis=0)
    cosine = float(a @ b / (np.linalg.norm(a) * np.linalg.norm(b)))
    return float(np.arccos(np.clip(cosine, -1.0, 1.0)))


def _name(segment: Segment) -> str:
    return str(segment).replace("_", " ")
