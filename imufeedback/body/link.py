"""The joint constraint: how two sensors on neighbouring segments are turned against each other, without a magnetometer.

The centre of the joint has one acceleration. Seen from both sensors, each in the frame that its own gyroscope carries
along (`strapdown`), the two readings differ by one rotation D that hardly moves. A Kalman filter keeps D and the two
lever arms from sensor to joint:

    S1·(f1 + K1·r1) = D·S2·(f2 + K2·r2)        K = [dω/dt]× + [ω]×²

f is the specific force in sensor coordinates, r from the sensor to the joint centre. At rest this compares gravity and
holds the tilt; in motion the horizontal part holds the heading. Causal: D at any instant comes from past samples only.

After Weygers & Kok, IEEE Sensors J 2020;20:7969-79 (doi 10.1109/JSEN.2020.2982459), whose filter carries both
orientations; carrying their difference in gyroscope frames makes the state slow, so that it can be updated at 25 Hz
from sums over many samples.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats

UPDATE_S = 0.04
"""Samples are summed over this long before an update."""
ACC_SD_M_S2 = 0.3
"""Of the mean over one update: accelerometer bias and scale, soft tissue, the joint's own play."""
ARM_SD_SHARE = 0.002
"""Of |K|: what differentiated rates and a joint that is no point add."""
DRIFT_RAD_SQRT_S = np.deg2rad(0.2)
"""Random walk of D: gyroscope noise and wandering bias."""
SCALE_RAD = np.deg2rad(0.02)
"""Random walk of D per rad/s of rotation: gyroscope scale and cross-axis errors while turning."""
ARM_WALK_M_SQRT_S = 1e-4
OUTLIER = 3.0
"""Residuals beyond so many standard deviations count less: knocks, foot strikes, a strap that slips."""


@dataclass
class Link:
    """State of one joint's filter. `D` takes coordinates in the distal sensor's gyroscope frame to the proximal's."""

    D: Floats
    P: Floats
    """(9, 9) covariance of (error of D as a rotation vector in the proximal frame, proximal arm, distal arm)."""
    arms_m: Floats
    """(6,) sensor to joint centre: proximal, distal, each in its sensor's coordinates."""

    @classmethod
    def begun(cls, D: Floats, D_sd_rad: Floats, arms_m: Floats, arms_sd_m: Floats) -> Link:
        """`D_sd_rad` (3, 3) is a covariance's square root, any; `arms_sd_m` (6,)."""
        P = np.zeros((9, 9))
        P[:3, :3] = D_sd_rad @ D_sd_rad.T
        P[3:, 3:] = np.diag(arms_sd_m**2)
        return cls(D.copy(), P, arms_m.copy())

    def observe(self, one: Sight, two: Sight, span_s: float) -> None:
        """Update from what both sides saw during `span_s`."""
        P, arms = self.P, self.arms_m
        P[_TURN, _TURN] += (DRIFT_RAD_SQRT_S**2 + SCALE_RAD**2 * (one.rate2 + two.rate2)) * span_s
        P[_ARMS, _ARMS] += ARM_WALK_M_SQRT_S**2 * span_s
        seen = self.D @ (two.force + two.lever @ arms[3:])
        residual = one.force + one.lever @ arms[:3] - seen
        H = np.empty((3, 9))
        H[:, :3] = _cross(-seen)
        H[:, 3:6] = -one.lever
        H[:, 6:] = self.D @ two.lever
        variance = ACC_SD_M_S2**2 + ARM_SD_SHARE**2 * (one.lever2 + two.lever2)
        spread = H @ P @ H.T
        inverse = np.linalg.inv(spread + variance * _EYE)
        surprise2 = float(residual @ inverse @ residual)
        if surprise2 > OUTLIER**2:
            variance *= 1.0 + 3.0 * (surprise2 / OUTLIER**2 - 1.0)
            inverse = np.linalg.inv(spread + variance * _EYE)
        gain = P @ H.T @ inverse
        change = gain @ residual
        P -= gain @ (H @ P)
        self.P = 0.5 * (P + P.T)
        self.turn(change[:3])
        self.arms_m = arms + change[3:]

    def turn(self, vector: Floats) -> None:
        """Turn D by a small rotation vector given in the proximal frame."""
        angle = float(np.sqrt(vector @ vector))
        if angle < 1e-12:
            return
        X = _cross(vector / angle)
        D = (_EYE + np.sin(angle) * X + (1.0 - np.cos(angle)) * (X @ X)) @ self.D
        # one Newton step keeps it a rotation: D (3 - DᵀD)/2
        self.D = D @ (1.5 * _EYE - 0.5 * (D.T @ D))

    def set_heading(self, turn_rad: float, up: Floats, sd_rad: float) -> None:
        """Turn D about the vertical `up` (unit, proximal frame), which from now on is known to `sd_rad`."""
        self.turn(turn_rad * up)
        keep = np.eye(9)
        keep[:3, :3] -= np.outer(up, up)
        self.P = keep @ self.P @ keep.T
        self.P[:3, :3] += sd_rad**2 * np.outer(up, up)


@dataclass(frozen=True, slots=True)
class Sight:
    """What one sensor says of the joint centre, mean over a few samples, in its gyroscope frame."""

    force: Floats
    """(3,) S·f"""
    lever: Floats
    """(3, 3) S·K"""
    rate2: float
    """|ω|²"""
    lever2: float
    """|K|²"""


def sight(S: Floats, acc: Floats, rate: Floats, rate_before: Floats, rate_after: Floats, step_s: float) -> Sight:
    """From (N, 3, 3) gyroscope-frame orientation, (N, 3) specific force, and the rates at, before and after each."""
    spin = (rate_after - rate_before) / (2.0 * step_s)
    K = np.empty((len(rate), 3, 3))
    x, y, z = rate.T
    xx, yy, zz = x * x, y * y, z * z
    K[:, 0, 0], K[:, 1, 1], K[:, 2, 2] = -(yy + zz), -(xx + zz), -(xx + yy)
    xy, xz, yz = x * y, x * z, y * z
    ax, ay, az = spin.T
    K[:, 0, 1], K[:, 1, 0] = xy - az, xy + az
    K[:, 0, 2], K[:, 2, 0] = xz + ay, xz - ay
    K[:, 1, 2], K[:, 2, 1] = yz - ax, yz + ax
    n = len(rate)
    return Sight(
        np.einsum("nij,nj->i", S, acc) / n,
        np.einsum("nij,njk->ik", S, K) / n,
        float(xx.sum() + yy.sum() + zz.sum()) / n,
        float(np.einsum("nij,nij->", K, K)) / n,
    )


_EYE = np.eye(3)
_TURN, _ARMS = np.arange(3), np.arange(3, 9)


def _cross(v: Floats) -> Floats:
    """(3, 3) [v]×"""
    x, y, z = v
    return np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
