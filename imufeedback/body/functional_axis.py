"""What standing and a movement show of one segment: where up is, and the line of the axis that it turned about."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.body.low_pass import zero_phase
from imufeedback.body.matrices import up_of
from imufeedback.body.refusal import FitImpossible, name
from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Floats, Segment

LOW_PASS_HZ = 3.0
"""Of the angular rates: knee lifts, bows and strides lie below, foot strikes (over 1000 °/s at the strap) above."""
STILL_RATE_RAD_S = 0.12
MAX_LEAN_RAD = np.deg2rad(2.0)
MIN_STILL_S = 1.0
MIN_FLEX_S = 0.6
"""Of samples during the movement: half a squat. Chosen."""
MIN_FLEX_RATE_RAD_S = 0.15
FILTER_SAMPLES = 12
"""A piece must be longer than so many samples to be filtered forth and back."""
SPREAD_RAD = np.deg2rad(38.0)
"""Error of an axis over the root of the share that is not about it: 34 to 42° for 175 thighs of people."""
SD_FLOOR_RAD = float(np.deg2rad(1.0))
"""Of the functional axis of a well made movement: the gyroscope's cross-axis error (1 %), and the movement's own.
Chosen."""
MOVEMENT_SD_RAD = {
    Segment.PELVIS: float(np.deg2rad(1.8)),
    Segment.LEFT_THIGH: float(np.deg2rad(3.2)),
    Segment.RIGHT_THIGH: float(np.deg2rad(3.2)),
}
"""How far people's bows and knee lifts are from straight ahead though nothing shows it; chosen (no source)."""


@dataclass(frozen=True, slots=True)
class Axis:
    """Horizontal principal axis of a movement."""

    z_s: Floats
    """(3,) in the sensor; its sign is a first guess."""
    share: float
    """Part of the horizontal angular motion that is about it."""


def up_in(segment: Segment, stretch: WindowSamples, bias: Floats) -> Floats:
    """(3,) up in the sensor while standing still. Raises FitImpossible when somebody moved or leaned."""
    if len(stretch.q_es) < MIN_STILL_S * stretch.rate_hz:
        raise FitImpossible(f"{name(segment)}: no samples while standing still")
    if np.sqrt(np.mean(np.sum(stretch.gyr_rad_s**2, axis=1))) > STILL_RATE_RAD_S:
        raise FitImpossible(f"{name(segment)}: moved while standing – stand still for 3 seconds")
    parts = [part.mean(axis=0) for part in np.array_split(stretch.acc_m_s2, 3)]
    begin, end = parts[0] / np.linalg.norm(parts[0]), parts[-1] / np.linalg.norm(parts[-1])
    if np.arccos(np.clip(begin @ end, -1.0, 1.0)) > MAX_LEAN_RAD:
        # a slow lean stays under any limit on the rate
        raise FitImpossible(f"{name(segment)}: leaned while standing – stand still for 3 seconds")
    mean = stretch.acc_m_s2.mean(axis=0) - bias
    up: Floats = mean / np.linalg.norm(mean)
    return up


def functional_axis(segment: Segment, up: Floats, flex: WindowSamples, *, needed: bool = True) -> Axis:
    """Horizontal principal axis of the low-passed angular rate, signed as if the segment's mean tilt were that of its
    movement: thigh forward, shank backward, pelvis forward. That sign is a guess (a pelvis tips backward on a chair);
    `evidence.py` finds the right one. Raises FitImpossible without samples, or when a `needed` segment hardly moved."""
    if len(flex.q_es) < MIN_FLEX_S * flex.rate_hz:
        raise FitImpossible(f"{name(segment)}: no samples during its movement")
    rate = low_passed(flex, LOW_PASS_HZ)
    level = np.eye(3) - np.outer(up, up)
    values, vectors = np.linalg.eigh(level @ (rate.T @ rate / len(rate)) @ level)
    largest, second = max(values[-1], 0.0), max(values[-2], 0.0)
    if needed and np.sqrt(largest) < MIN_FLEX_RATE_RAD_S:
        raise FitImpossible(f"{name(segment)}: hardly moved – lift the knee higher")
    z = vectors[:, -1]
    expected = 1.0 if segment in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.LEAD_FOREARM) else -1.0
    if expected * float(tilt_about(z, up, flex.q_es).mean()) < 0:
        z = -z
    return Axis(z, largest / max(largest + second, 1e-12))


def axis_sd_rad(segment: Segment, share: float) -> float:
    """What the line of an axis is off by, about the vertical."""
    floor = MOVEMENT_SD_RAD.get(segment, SD_FLOOR_RAD)
    return max(floor, float(SPREAD_RAD * np.sqrt(max(1.0 - share, 0.0))))


def tilt_about(z: Floats, up: Floats, q_es: Floats) -> Floats:
    """(N,) angle by which the segment is turned about z away from standing (rad)."""
    now = up_of(q_es)
    tilt: Floats = np.arctan2(now @ np.cross(up, z), now @ up)
    return tilt


def tipped_rad(still: WindowSamples, flex: WindowSamples) -> float:
    """Greatest change of a segment's inclination, from standing or within its movement; needs no axis."""
    ups = up_of(flex.q_es)
    these = np.stack((up_of(still.q_es).mean(axis=0), ups[0], ups[-1], ups[len(ups) // 2]))
    these /= np.linalg.norm(these, axis=1)[:, None]
    least, most = np.percentile(np.arccos(np.clip(these @ ups.T, -1.0, 1.0)), (2, 98), axis=1)
    return float((most - least).max())


def low_passed(stretch: WindowSamples, cutoff_hz: float) -> Floats:
    """(M, 3) angular rates of the pieces that are long enough, each by itself: zero-phase Butterworth of order 2."""
    pieces = [stretch.gyr_rad_s[one] for one in stretch.pieces if one.stop - one.start > FILTER_SAMPLES]
    return np.concatenate([zero_phase(one, cutoff_hz, stretch.rate_hz) for one in pieces or [stretch.gyr_rad_s]])
