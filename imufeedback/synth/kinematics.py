"""A chain of hinges: every derivative is exact, nothing is differenced.

For a child that turns about an axis ``u`` fixed in parent and child, ``R_child = R_parent · R_u(θ)``, in child axes

    ω_child = R_uᵀ ω_parent + u θ'
    α_child = R_uᵀ α_parent - (u θ') × (R_uᵀ ω_parent) + u θ''

and a place ``r`` fixed in a segment accelerates by ``α × r + ω × (ω × r)`` more than the segment's origin
(rigid-body kinematics, any textbook of dynamics). When the place moves in the segment, ``2 ω × r' + r''`` comes on top
(Coriolis).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy.spatial.transform import Rotation

from imufeedback.records import Floats
from imufeedback.synth.profile import Course

EARTH_FROM_Y_UP = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
"""Takes coordinates in a body that stands upright (x anterior, y up, z right) to the earth (x ahead, y left, z up)."""

X, Y, Z = 0, 1, 2


@dataclass(frozen=True, slots=True)
class SegmentCourse:
    """One segment at N instants."""

    rotation: Rotation
    """Segment to earth, N of them."""
    gyr_rad_s: Floats
    """(N, 3) angular velocity, segment axes."""
    gyr_rate_rad_s2: Floats
    """(N, 3) angular acceleration, segment axes."""
    position_m: Floats
    """(N, 3) of the origin, earth axes; velocity and acceleration likewise."""
    velocity_m_s: Floats
    acceleration_m_s2: Floats

    def turned(self, axis: int, course: Course) -> SegmentCourse:
        """The same origin, turned about its own axis (`X`, `Y` or `Z`) by ``course`` in radians."""
        unit = np.eye(3)[axis]
        cosine, sine = np.cos(course.value), np.sin(course.value)
        gyr = _seen_after(self.gyr_rad_s, axis, cosine, sine)
        rate = _seen_after(self.gyr_rate_rad_s2, axis, cosine, sine)
        rate += course.rate[:, None] * np.cross(gyr, unit) + course.accel[:, None] * unit
        gyr += course.rate[:, None] * unit
        rotation = _turned(self.rotation, axis, course.value)
        return replace(self, rotation=rotation, gyr_rad_s=gyr, gyr_rate_rad_s2=rate)

    def moved(self, r_m: npt.ArrayLike) -> SegmentCourse:
        """The same orientation, with the origin at the place ``r_m`` (3,) fixed in the segment."""
        r = np.array(r_m, dtype=np.float64)  # a copy: scipy refuses read-only vectors
        swirl = np.cross(self.gyr_rad_s, r)
        pull = np.cross(self.gyr_rate_rad_s2, r) + np.cross(self.gyr_rad_s, swirl)
        return replace(
            self,
            position_m=self.position_m + self.rotation.apply(r),
            velocity_m_s=self.velocity_m_s + self.rotation.apply(swirl),
            acceleration_m_s2=self.acceleration_m_s2 + self.rotation.apply(pull),
        )

    def slid(self, x: Course, y: Course, z: Course) -> SegmentCourse:
        """The same orientation, with the origin at a place that moves in the segment as the three courses (m) say."""
        r, rate, accel = (
            np.stack(parts, axis=1) for parts in zip(*((c.value, c.rate, c.accel) for c in (x, y, z)), strict=True)
        )
        swirl = np.cross(self.gyr_rad_s, r)
        pull = np.cross(self.gyr_rate_rad_s2, r) + np.cross(self.gyr_rad_s, swirl + 2 * rate) + accel
        return replace(
            self,
            position_m=self.position_m + self.rotation.apply(r),
            velocity_m_s=self.velocity_m_s + self.rotation.apply(swirl + rate),
            acceleration_m_s2=self.acceleration_m_s2 + self.rotation.apply(pull),
        )

    def specific_force(self, gravity_m_s2: float) -> Floats:
        """(N, 3) what an ideal accelerometer at the origin feels, segment axes: acceleration minus gravity."""
        return np.asarray(
            self.rotation.apply(self.acceleration_m_s2 + np.array([0.0, 0.0, gravity_m_s2]), inverse=True)
        )


# For a turn about one coordinate axis scipy's products and `apply` do many times the work that is needed, and most of
# the time of a long session would go there; the tests compare with scipy.


def _seen_after(vectors: Floats, axis: int, cosine: Floats, sine: Floats) -> Floats:
    """Coordinates (N, 3) in a frame that has turned about its own axis."""
    b, c = (axis + 1) % 3, (axis + 2) % 3
    out = vectors.copy()
    out[:, b] = cosine * vectors[:, b] + sine * vectors[:, c]
    out[:, c] = cosine * vectors[:, c] - sine * vectors[:, b]
    return out


def _turned(rotation: Rotation, axis: int, angle: Floats) -> Rotation:
    """The product with a turn about the frame's own axis."""
    q = rotation.as_quat()  # x, y, z, w
    cosine, sine = np.cos(angle / 2)[:, None], np.sin(angle / 2)
    b, c = (axis + 1) % 3, (axis + 2) % 3
    out = cosine * q
    out[:, axis] += sine * q[:, 3]
    out[:, b] += sine * q[:, c]
    out[:, c] -= sine * q[:, b]
    out[:, 3] -= sine * q[:, axis]
    return Rotation.from_quat(out)


def upright(ahead: Course, left: Course, up: Course) -> SegmentCourse:
    """A frame that stands upright and faces ahead; its origin moves as the three courses (m) say."""
    n = len(ahead.value)
    still = np.zeros((n, 3))
    return SegmentCourse(
        rotation=Rotation.from_matrix(np.broadcast_to(EARTH_FROM_Y_UP, (n, 3, 3))),
        gyr_rad_s=still,
        gyr_rate_rad_s2=still,
        position_m=np.stack([ahead.value, left.value, up.value], axis=1),
        velocity_m_s=np.stack([ahead.rate, left.rate, up.rate], axis=1),
        acceleration_m_s2=np.stack([ahead.accel, left.accel, up.accel], axis=1),
    )
