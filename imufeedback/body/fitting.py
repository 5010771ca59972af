"""Fitting: the constant rotation between each sensor and its segment, from quiet standing and one movement.

* y (up) of every segment is the direction of gravity while the player stands still: all angles are zero in that pose.
* z (right) of a thigh or shank is the principal axis of its angular rate while the joint flexes, made horizontal and
  signed by the flexion.
* z of the pelvis likewise, if the movement tips it (a bow). If not (walking), its heading comes from the legs: pelvis
  and thigh share the hip centre and so its acceleration; the turn about the vertical that makes the two agree best
  during the movement gives the pelvis the thighs' forward direction in the standing pose.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from scipy import signal

from imufeedback.body.matrices import from_q, to_q
from imufeedback.body.offsets import PRIOR_SD_M_S2, zero_g_offset
from imufeedback.body.stretch import Stretch
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Fit, Floats, Level, Segment, SegmentFit, frozen

LOW_PASS_HZ = 3.0
"""Of the angular rates: knee lifts, bows and strides lie below, foot strikes (over 1000 °/s at the strap) above."""
HIP_LOW_PASS_HZ = 2.5
ROTATION_LOW_PASS_HZ = 6.0
TO_HIP_M = {
    Segment.PELVIS: (0.11, -0.06, 0.0),
    Segment.LEFT_THIGH: (0.0, 0.20, 0.07),
    Segment.RIGHT_THIGH: (0.0, 0.20, -0.07),
}
"""From the sensor to the hip centre (pelvis: midway between both), segment axes; a person of 1.75 m, from memory."""
HIP_ABOVE_SENSOR_M = 0.20
"""From a mid-thigh sensor to the hip centre: half of a 0.40 m thigh (from memory; common anthropometry)."""
STILL_RATE_RAD_S = 0.12
MAX_LEAN_RAD = np.deg2rad(2.0)
MIN_STILL_S = 1.0
MIN_FLEX_RATE_RAD_S = 0.15
GOOD_SHARE, FAIR_SHARE = 0.92, 0.80
BOW_SHARE = 0.85
"""Below this share of one horizontal axis in the pelvis' motion it was no bow."""
GOOD_COHERENCE, FAIR_COHERENCE = 0.6, 0.35
SD_FLOOR_RAD = np.deg2rad(1.0)
"""Of the functional axis of a well made movement: the gyroscope's cross-axis error (1 %), and the movement's own.
Chosen."""
UP_SD_RAD = np.deg2rad(0.3)
"""Of "up" beyond the zero-g offset: the accelerometer's cross-axis error (1 %). From memory."""
SD_SPREAD_RAD = np.deg2rad(10.0)


class FitImpossible(Exception):
    """The windows do not hold what a fitting needs; the text says which sensor and why."""


@dataclass(frozen=True, slots=True)
class _Axis:
    z_s: Floats
    share: float
    """Part of the horizontal angular motion that is about z."""


def fit(
    still: Mapping[Segment, Stretch],
    flex: Mapping[Segment, Stretch],
    whole: Mapping[Segment, Stretch] | None = None,
    whole_s: float = 0.0,
) -> Fit:
    """Fit every segment that is in both windows. `whole`, all samples of the `whole_s` seconds that hold the windows,
    shows the accelerometers' zero-g offsets; without it they are taken as zero.

    Raises FitImpossible, in words for the player, when somebody moved while standing, when a window is empty or when a
    segment hardly moved in its movement.
    """
    offset = {segment: (np.zeros(3), PRIOR_SD_M_S2**2 * np.eye(3)) for segment in still}
    if whole is not None:
        for one in _fitted(still, flex, offset).segments:
            if one.segment in TO_HIP_M:
                arm_s = from_q(one.q_sb) @ np.array(TO_HIP_M[one.segment])
                offset[one.segment] = zero_g_offset(whole[one.segment], whole_s, arm_s)
    return _fitted(still, flex, offset)


def _fitted(
    still: Mapping[Segment, Stretch], flex: Mapping[Segment, Stretch], offset: Mapping[Segment, tuple[Floats, Floats]]
) -> Fit:
    up = {segment: _up(segment, stretch, offset[segment][0]) for segment, stretch in still.items()}
    found: dict[Segment, SegmentFit] = {}
    for segment in still:
        if segment is not Segment.PELVIS:
            axis = _functional_axis(segment, up[segment], flex[segment])
            found[segment] = _segment_fit(segment, up[segment], axis)
    bow = _functional_axis(Segment.PELVIS, up[Segment.PELVIS], flex[Segment.PELVIS], needed=False)
    method = "standing + flexion"
    if bow.share >= BOW_SHARE:
        found[Segment.PELVIS] = _segment_fit(Segment.PELVIS, up[Segment.PELVIS], bow)
    else:
        method = "standing + flexion; pelvis from the legs"
        found[Segment.PELVIS] = _pelvis_from_legs(up[Segment.PELVIS], still, flex, found)
    return Fit(method, tuple(_with_spread(found[segment], *offset[segment]) for segment in still))


def _with_spread(found: SegmentFit, offset: Floats, covariance: Floats) -> SegmentFit:
    """The fit with its error about each axis: what is not known of the accelerometer tilts "up", the movement turns
    "forward"."""
    to_segment = from_q(found.q_sb).T
    lean, _, bend = np.sqrt(np.diag(to_segment @ covariance @ to_segment.T))[::-1] / STANDARD_GRAVITY_M_S2
    axes = np.array([np.hypot(lean, UP_SD_RAD), found.sd_rad, np.hypot(bend, UP_SD_RAD)])
    return replace(
        found,
        sd_rad=float(np.sqrt(np.mean(axes**2))),
        sd_axes_rad=frozen(axes),
        acc_bias_m_s2=frozen(offset),
    )


def _up(segment: Segment, stretch: Stretch, bias: Floats) -> Floats:
    if len(stretch.q_es) < MIN_STILL_S * stretch.rate_hz:
        raise FitImpossible(f"{_name(segment)}: no samples while standing still")
    if np.sqrt(np.mean(np.sum(stretch.gyr_rad_s**2, axis=1))) > STILL_RATE_RAD_S:
        raise FitImpossible(f"{_name(segment)}: moved while standing – stand still for 3 seconds")
    parts = [part.mean(axis=0) for part in np.array_split(stretch.acc_m_s2, 3)]
    begin, end = parts[0] / np.linalg.norm(parts[0]), parts[-1] / np.linalg.norm(parts[-1])
    if np.arccos(np.clip(begin @ end, -1.0, 1.0)) > MAX_LEAN_RAD:
        # a slow lean stays under any limit on the rate
        raise FitImpossible(f"{_name(segment)}: leaned while standing – stand still for 3 seconds")
    mean = stretch.acc_m_s2.mean(axis=0) - bias
    up: Floats = mean / np.linalg.norm(mean)
    return up


def _functional_axis(segment: Segment, up: Floats, flex: Stretch, *, needed: bool = True) -> _Axis:
    """Horizontal principal axis of the low-passed angular rate, signed so that flexion (a bow, for the pelvis) counts
    as the segment's movement does: thigh forward, shank backward, pelvis forward."""
    if len(flex.q_es) < flex.rate_hz:
        raise FitImpossible(f"{_name(segment)}: no samples during its movement")
    rate = _low_passed(flex.gyr_rad_s, LOW_PASS_HZ, flex.rate_hz)
    level = np.eye(3) - np.outer(up, up)
    values, vectors = np.linalg.eigh(level @ (rate.T @ rate / len(rate)) @ level)
    largest, second = max(values[-1], 0.0), max(values[-2], 0.0)
    if needed and np.sqrt(largest) < MIN_FLEX_RATE_RAD_S:
        raise FitImpossible(f"{_name(segment)}: hardly moved – lift the knee higher")
    z = vectors[:, -1]
    expected = 1.0 if segment in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.LEAD_FOREARM) else -1.0
    tilt = _tilt_about(z, up, flex)
    if expected * float(tilt.mean()) < 0:
        z = -z
    return _Axis(z, largest / max(largest + second, 1e-12))


def _tilt_about(z: Floats, up: Floats, flex: Stretch) -> Floats:
    """(N,) angle by which the segment is turned about z away from standing (rad)."""
    now = from_q(flex.q_es)[:, 2, :]  # earth's z in the sensor
    tilt: Floats = np.arctan2(np.cross(now, up) @ z, now @ up)
    return tilt


def _segment_fit(segment: Segment, up: Floats, axis: _Axis) -> SegmentFit:
    level, reason = Level.GOOD, None
    if axis.share < GOOD_SHARE:
        level = Level.FAIR if axis.share >= FAIR_SHARE else Level.POOR
        reason = f"{_name(segment)}: the movement was partly sideways – {_advice(segment)}"
    sd = float(np.hypot(SD_FLOOR_RAD, SD_SPREAD_RAD * np.sqrt(max(1.0 - axis.share, 0.0))))
    return SegmentFit(segment, _q_sb(up, axis.z_s), level, sd, reason)


def _pelvis_from_legs(
    up: Floats,
    still: Mapping[Segment, Stretch],
    flex: Mapping[Segment, Stretch],
    legs: Mapping[Segment, SegmentFit],
) -> SegmentFit:
    """The pelvis' forward direction in the standing pose, from the acceleration that it shares with the thighs."""
    thighs = [segment for segment in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH) if segment in legs]
    if not thighs:
        raise FitImpossible(
            "pelvis: it hardly tipped and there is no thigh sensor to take its direction from – bow twice"
        )
    pelvis = _horizontal(flex[Segment.PELVIS], np.zeros(3))
    together, own, other = 0j, 0.0, 0.0
    for thigh in thighs:
        q_sb = from_q(legs[thigh].q_sb)
        forward = from_q(still[thigh].q_es).mean(axis=0) @ q_sb[:, 0]
        hip = _horizontal(flex[thigh], q_sb @ np.array([0.0, HIP_ABOVE_SENSOR_M, 0.0]))
        hip = hip * np.exp(-1j * np.arctan2(forward[1], forward[0]))
        n = min(len(hip), len(pelvis))
        together += complex(np.sum(hip[:n] * np.conj(pelvis[:n])))
        own += float(np.sum(np.abs(pelvis[:n]) ** 2))
        other += float(np.sum(np.abs(hip[:n]) ** 2))
    coherence = abs(together) / max(np.sqrt(own * other), 1e-12)
    heading = -np.angle(together)  # of "forward" in the pelvis sensor's own earth
    standing = from_q(still[Segment.PELVIS].q_es).mean(axis=0)
    forward_s = standing.T @ np.array([np.cos(heading), np.sin(heading), 0.0])
    z = np.cross(forward_s, up)
    z /= np.linalg.norm(z)
    level, reason = Level.GOOD, None
    if coherence < GOOD_COHERENCE:
        level = Level.FAIR if coherence >= FAIR_COHERENCE else Level.POOR
        reason = "pelvis: its direction came from the legs and is not sure – bow twice"
    sd = float(np.hypot(SD_FLOOR_RAD, SD_SPREAD_RAD * (1.0 - coherence)))
    return SegmentFit(Segment.PELVIS, _q_sb(up, z), level, sd, reason)


def _horizontal(stretch: Stretch, arm_s: Floats) -> Floats:
    """(N,) horizontal acceleration of the point at `arm_s` from the sensor, as x + iy in the sensor's earth, around its
    mean and low-passed."""
    rate = _low_passed(stretch.gyr_rad_s, ROTATION_LOW_PASS_HZ, stretch.rate_hz)
    spin = np.gradient(rate, 1.0 / stretch.rate_hz, axis=0)
    acc = stretch.acc_m_s2 + np.cross(spin, arm_s) + np.cross(rate, np.cross(rate, arm_s))
    earth = np.einsum("nij,nj->ni", from_q(stretch.q_es), acc)
    earth = _low_passed(earth, HIP_LOW_PASS_HZ, stretch.rate_hz)
    flat = earth[:, 0] + 1j * earth[:, 1]
    centred: Floats = flat - flat.mean()
    return centred


def _low_passed(values: Floats, cutoff_hz: float, rate_hz: float) -> Floats:
    """Zero-phase Butterworth of order 2, forth and back."""
    b, a = signal.butter(2, cutoff_hz / (rate_hz / 2))
    out: Floats = signal.filtfilt(b, a, values, axis=0)
    return out


def _q_sb(up: Floats, z: Floats) -> Floats:
    z = z - up * (z @ up)
    z = z / np.linalg.norm(z)
    return frozen(to_q(np.column_stack((np.cross(up, z), up, z))))


def _name(segment: Segment) -> str:
    return str(segment).replace("_", " ")


def _advice(segment: Segment) -> str:
    return "bow straight forward" if segment is Segment.PELVIS else "lift the knee straight up"
