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

from imufeedback.body.joints import JOINTS
from imufeedback.body.matrices import from_q, to_q
from imufeedback.body.shared_hip import BIAS_SD_M_S2, Shared, shared_hip
from imufeedback.body.stretch import Stretch
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Fit, Floats, Level, Segment, SegmentFit, frozen

LOW_PASS_HZ = 3.0
"""Of the angular rates: knee lifts, bows and strides lie below, foot strikes (over 1000 °/s at the strap) above."""
HIP_LOW_PASS_HZ = 2.5
ROTATION_LOW_PASS_HZ = 6.0
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
SD_FLOOR_RAD = float(np.deg2rad(1.0))
"""Of the functional axis of a well made movement: the gyroscope's cross-axis error (1 %), and the movement's own.
Chosen."""
MOVEMENT_SD_RAD = {
    Segment.PELVIS: float(np.deg2rad(1.8)),
    Segment.LEFT_THIGH: float(np.deg2rad(3.2)),
    Segment.RIGHT_THIGH: float(np.deg2rad(3.2)),
}
"""How far people's bows and knee lifts are from straight ahead though nothing shows it; chosen (no source)."""
OFF_RAD = np.deg2rad(16.0)
SHARED_SD_RAD, IN_COMMON = np.deg2rad(2.0), 0.5
"""Least error of what the hips share; part of its variance that comes from the pelvis, so is the same for both."""
UP_SD_RAD = np.deg2rad(0.7)
"""Of "up" beyond the zero-g offset: the accelerometer's cross-axis error (1 %, from memory), and sway."""
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
) -> Fit:
    """Fit every segment that is in both windows. `whole`, all samples from a moment of standing to after the movements,
    shows the accelerometers' zero-g offsets and where the pelvis' forward is in the thighs (`shared_hip`); without it
    the offsets are taken as zero.

    Raises FitImpossible, in words for the player, when somebody moved while standing, when a window is empty or when a
    segment hardly moved in its movement.
    """
    return fit_and_shared(still, flex, whole)[0]


def fit_and_shared(
    still: Mapping[Segment, Stretch], flex: Mapping[Segment, Stretch], whole: Mapping[Segment, Stretch] | None
) -> tuple[Fit, dict[Segment, Shared]]:
    """The same, and what the thighs show together with the pelvis: by how much each lift's axis is off the bow's."""
    nothing = {segment: (np.zeros(3), BIAS_SD_M_S2**2 * np.eye(3)) for segment in still}
    rough = _fitted(still, flex, nothing)
    shared = {} if whole is None else shared_hips(rough, whole)
    if not shared:
        return rough, shared
    return faced(_fitted(still, flex, nothing | _offsets(rough, shared)), shared), shared


def shared_hips(found: Fit, whole: Mapping[Segment, Stretch]) -> dict[Segment, Shared]:
    """What each thigh shows together with the pelvis, as far as it can be said."""
    by_segment = {one.segment: from_q(one.q_sb) for one in found.segments}
    out: dict[Segment, Shared] = {}
    for joint in JOINTS:
        if joint.name == "hip" and joint.proximal in by_segment and joint.distal in by_segment:
            p, t = joint.proximal, joint.distal
            arms = (np.array(arm) for arm in joint.arms_m)
            one = shared_hip(whole[p], whole[t], by_segment[p], by_segment[t], *arms)
            if one is not None:
                out[t] = one
    return out


def _offsets(found: Fit, shared: Mapping[Segment, Shared]) -> dict[Segment, tuple[Floats, Floats]]:
    """Zero-g offsets with their covariances, sensor axes; the pelvis' is the mean of what both thighs say."""
    R = {one.segment: from_q(one.q_sb) for one in found.segments}
    seen = {thigh: (one.offset[1], one.covariance[1]) for thigh, one in shared.items()}
    both = list(shared.values())
    seen[Segment.PELVIS] = (
        np.mean([one.offset[0] for one in both], axis=0),
        np.mean([one.covariance[0] for one in both], axis=0),
    )
    return {one: (R[one] @ offset, R[one] @ covariance @ R[one].T) for one, (offset, covariance) in seen.items()}


def faced(found: Fit, shared: Mapping[Segment, Shared]) -> Fit:
    """The fit with its thighs and pelvis turned about the vertical so that all movements and what the hips share agree
    best: each movement's axis is as sure as its standard deviation says."""
    order = [one for one in found.segments if one.segment is Segment.PELVIS or one.segment in shared]
    at = {one.segment: i for i, one in enumerate(order)}
    prior = np.diag([_sd_facing(one) ** 2 for one in order])
    H, z = np.zeros((len(shared), len(order))), np.zeros(len(shared))
    sd = np.array([np.hypot(one.sd_rad, SHARED_SD_RAD) for one in shared.values()])
    noise = IN_COMMON * np.outer(sd, sd) + (1 - IN_COMMON) * np.diag(sd**2)
    for k, (thigh, one) in enumerate(shared.items()):
        H[k, at[Segment.PELVIS]], H[k, at[thigh]], z[k] = 1.0, -1.0, one.turn_rad
        # a lift far off is worth no more than it is off
        off = max(abs(one.turn_rad) - OFF_RAD, 0.0)
        prior[at[thigh], at[thigh]] += off**2
    gain = prior @ H.T @ np.linalg.inv(H @ prior @ H.T + noise)
    turn, left = gain @ z, np.diag((np.eye(len(order)) - gain @ H) @ prior)
    turned = {one.segment: _turned(one, float(turn[i]), float(np.sqrt(left[i]))) for i, one in enumerate(order)}
    return replace(found, segments=tuple(turned.get(one.segment, one) for one in found.segments))


def _sd_facing(one: SegmentFit) -> float:
    return one.sd_rad if one.sd_axes_rad is None else float(one.sd_axes_rad[1])


def _turned(one: SegmentFit, turn_rad: float, sd_rad: float) -> SegmentFit:
    c, s = np.cos(turn_rad), np.sin(turn_rad)
    q_sb = to_q(from_q(one.q_sb) @ np.array([[c, 0.0, s], [0.0, 1.0, 0.0], [-s, 0.0, c]]))
    axes = np.full(3, one.sd_rad) if one.sd_axes_rad is None else one.sd_axes_rad.copy()
    axes[1] = sd_rad
    return replace(one, q_sb=frozen(q_sb), sd_axes_rad=frozen(axes), sd_rad=float(np.sqrt(np.mean(axes**2))))


def _fitted(
    still: Mapping[Segment, Stretch], flex: Mapping[Segment, Stretch], offset: Mapping[Segment, tuple[Floats, Floats]]
) -> Fit:
    up = {segment: _up(segment, stretch, offset[segment][0]) for segment, stretch in still.items()}
    found: dict[Segment, SegmentFit] = {}
    for segment in still:
        if segment is not Segment.PELVIS:
            # a forearm has no movement of its own in a fitting: what it does serves, and is scored as it is
            needed = segment is not Segment.LEAD_FOREARM
            axis = _functional_axis(segment, up[segment], flex[segment], needed=needed)
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
    floor = MOVEMENT_SD_RAD.get(segment, SD_FLOOR_RAD)
    sd = float(np.hypot(floor, SD_SPREAD_RAD * np.sqrt(max(1.0 - axis.share, 0.0))))
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
    from scipy.signal import butter, filtfilt  # takes half a second to import; who reads or stores a fit needs none

    b, a = butter(2, cutoff_hz / (rate_hz / 2))
    out: Floats = filtfilt(b, a, values, axis=0)
    return out


def _q_sb(up: Floats, z: Floats) -> Floats:
    z = z - up * (z @ up)
    z = z / np.linalg.norm(z)
    return frozen(to_q(np.column_stack((np.cross(up, z), up, z))))


def _name(segment: Segment) -> str:
    return str(segment).replace("_", " ")


def _advice(segment: Segment) -> str:
    return "bow straight forward" if segment is Segment.PELVIS else "lift the knee straight up"
