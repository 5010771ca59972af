"""Ideal inertial sensors at places on the segments: exact angular rate and specific force, in the sensor's own axes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.constants import normal_gravity_m_s2
from imufeedback.records import Floats, Segment, frozen
from imufeedback.synth.golfer import BODY, TruthPose
from imufeedback.synth.kinematics import SegmentCourse

GRAVITY_M_S2 = normal_gravity_m_s2(math.radians(50.0))
"""Where the invented players stand: 50° latitude, at sea level."""

PLACES_M = {
    Segment.PELVIS: (-0.10, 0.08, 0.0),  # over the sacrum
    Segment.LEFT_THIGH: (0.01, -0.21, -0.08),  # outside, half way down
    Segment.RIGHT_THIGH: (0.01, -0.21, 0.08),
    Segment.LEFT_SHANK: (0.05, -0.15, 0.01),  # on the shin
    Segment.RIGHT_SHANK: (0.05, -0.15, -0.01),
    Segment.LEAD_FOREARM: (0.03, -0.20, 0.0),  # over the wrist
}
"""Usual places, in segment axes from the segment's origin."""

WORN = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
"""The least set of sensors."""


@dataclass(frozen=True, slots=True)
class ImuPlace:
    """Where and how one sensor sits."""

    segment: Segment
    r_m: Floats
    """(3,) from the segment's origin, segment axes."""
    q_sb: Floats
    """(4,) segment to sensor: takes coordinates in the segment to coordinates in the sensor."""


def default_places(seed: int, segments: Sequence[Segment] = WORN) -> dict[Segment, ImuPlace]:
    """Usual places, each sensor turned at random (any way round); a segment has the same mounting in any set."""
    return {one: ImuPlace(one, frozen(PLACES_M[one]), _mounting(seed, one)) for one in segments}


def measure(pose: TruthPose, place: ImuPlace, gravity_m_s2: float = GRAVITY_M_S2) -> tuple[Floats, Floats]:
    """Angular rate (N, 3) in rad/s and specific force (N, 3) in m/s², in the sensor's axes, without any error."""
    return measure_on(pose.frames[place.segment], place, gravity_m_s2)


def measure_on(frame: SegmentCourse, place: ImuPlace, gravity_m_s2: float = GRAVITY_M_S2) -> tuple[Floats, Floats]:
    """The same on what carries the sensor, when that is not the bone."""
    here = frame.moved(place.r_m)
    mounting = Rotation.from_quat(place.q_sb, scalar_first=True)
    return frozen(mounting.apply(here.gyr_rad_s)), frozen(mounting.apply(here.specific_force(gravity_m_s2)))


def true_q_es(pose: TruthPose, place: ImuPlace) -> Floats:
    """(N, 4) sensor to earth, scalar first; of a sensor fixed to the bone."""
    mounting = Rotation.from_quat(place.q_sb, scalar_first=True)
    turned = pose.frames[place.segment].rotation * mounting.inv()
    return frozen(turned.as_quat(scalar_first=True))


def _mounting(seed: int, segment: Segment) -> Floats:
    # Four independent normal numbers, scaled to length 1, are uniform over all rotations (Shoemake 1992, from memory).
    q = np.random.default_rng([seed, 4, BODY.index(segment)]).standard_normal(4)
    return frozen(q / np.linalg.norm(q))
