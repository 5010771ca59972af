"""The joint constraint: how two sensors on neighbouring segments are turned against each other, without a magnetometer.

The centre of the joint has one acceleration. Seen from both sensors, each in the frame that its own gyroscope carries
along (`strapdown`), the two readings differ by one rotation D that hardly moves. A Kalman filter keeps D and the two
lever arms from sensor to joint:

    S1·(f1 + K1·r1) = D·S2·(f2 + K2·r2)        K = [dω/dt]× + [ω]×²

The vertical that each sensor's own filter has is a second, weak observation: ``u1 = D·u2``. Shocks throw D off that a
gyroscope does not follow (foot strikes), and then the force is doubted too.

f is the specific force in sensor coordinates, r from the sensor to the joint centre. At rest this compares gravity and
holds the tilt; in motion the horizontal part holds the heading. Causal: D at any instant comes from past samples only.

After Weygers & Kok, IEEE Sensors J 2020;20:7969-79 (doi 10.1109/JSEN.2020.2982459), whose filter carries both
orientations; carrying their difference in gyroscope frames makes the state slow, so that it can be updated at 25 Hz
from sums over many samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from imufeedback.records import Floats

ACC_SD_M_S2 = 0.3
"""Of the mean over one update: accelerometer bias and scale, soft tissue, the joint's own play."""
ARM_SD_SHARE = 0.002
"""Of |K|: what differentiated rates and a joint that is no point add."""
DRIFT_RAD_SQRT_S = np.deg2rad(0.2)
"""Random walk of D: gyroscope noise and wandering bias."""
SCALE_RAD = np.deg2rad(0.02)
"""Random walk of D per rad/s of rotation: gyroscope scale and cross-axis errors while turning."""
ARM_WALK_M_SQRT_S = 1e-4
UP_SHARE = 4.6
"""Of the standard deviation that the two sensors' own filters tell of their tilt, for one update: they are wrong in the
same way for seconds, so one look alone has to count for little."""
UP_SD_LEAST_RAD = np.deg2rad(0.2)
OUTLIER = 3.0
"""Residuals beyond so many standard deviations count less: knocks, foot strikes, a strap that slips."""


@dataclass
class Link:
    """State of the filters of J joints, stacked. `D` takes coordinates in the distal sensor's gyroscope frame to the
    proximal's. The arrays are replaced, never written into: whoever kept one has its value of then."""

    D: Floats
    """(J, 3, 3)"""
    P: Floats
    """(J, 9, 9) covariance of (error of D as a rotation vector in the proximal frame, proximal arm, distal arm)."""
    arms_m: Floats
    """(J, 6) sensor to joint centre: proximal, distal, each in its sensor's coordinates."""

    @classmethod
    def begun(cls, D: Floats, D_sd_rad: Floats, arms_m: Floats, arms_sd_m: Floats) -> Link:
        """`D_sd_rad` (J, 3, 3) is a covariance's square root, any; `arms_sd_m` (J, 6)."""
        P = np.zeros((len(D), 9, 9))
        P[:, :3, :3] = D_sd_rad @ np.swapaxes(D_sd_rad, 1, 2)
        P[:, _ARMS, _ARMS] = arms_sd_m**2
        return cls(D.copy(), P, arms_m.copy())

    def observe(self, one: Sight, two: Sight, span_s: float, which: npt.NDArray[np.intp] | None = None) -> None:
        """Update from what both sides saw during `span_s`; all joints, or those named by `which` (then the sights are
        theirs only)."""
        if which is None:
            self.D, self.P, self.arms_m = _updated(self.D, self.P, self.arms_m, one, two, span_s)
        elif len(which):
            D, P, arms = self.D.copy(), self.P.copy(), self.arms_m.copy()
            D[which], P[which], arms[which] = _updated(D[which], P[which], arms[which], one, two, span_s)
            self.D, self.P, self.arms_m = D, P, arms

    def set_heading(self, k: int, turn_rad: float, up: Floats, sd_rad: float) -> None:
        """Turn D of joint k about the vertical `up` (unit, proximal frame), which from now on is known to `sd_rad`."""
        keep = np.eye(9)
        keep[:3, :3] -= np.outer(up, up)
        D, P = self.D.copy(), self.P.copy()
        D[k] = turned(D[k : k + 1], turn_rad * up[None])[0]
        P[k] = keep @ P[k] @ keep.T
        P[k, :3, :3] += sd_rad**2 * np.outer(up, up)
        self.D, self.P = D, P


def _updated(
    D: Floats, P: Floats, arms: Floats, one: Sight, two: Sight, span_s: float
) -> tuple[Floats, Floats, Floats]:
    """D, P and arms of J joints after an update. The arrays given are not changed."""
    grown = np.empty((len(D), 9))
    grown[:, :3] = ((DRIFT_RAD_SQRT_S**2 + SCALE_RAD**2 * (one.rate2 + two.rate2)) * span_s)[:, None]
    grown[:, 3:] = ARM_WALK_M_SQRT_S**2 * span_s
    P = P + grown[:, :, None] * _EYE9
    D_lever = D @ two.lever
    seen = D @ two.force[..., None] + D_lever @ arms[:, 3:, None]
    residual = one.force[..., None] + one.lever @ arms[:, :3, None] - seen
    above = D @ two.up[..., None]
    residual = np.concatenate((residual, one.up[..., None] - above), axis=1)
    H = np.zeros((len(D), 6, 9))
    H[:, :3, :3], H[:, :3, 3:6], H[:, :3, 6:] = _cross(-seen[..., 0]), -one.lever, D_lever
    H[:, 3:, :3] = _cross(-above[..., 0])
    PH = P @ np.swapaxes(H, 1, 2)
    spread = H @ PH
    variance = ACC_SD_M_S2**2 + ARM_SD_SHARE**2 * (one.lever2 + two.lever2)
    force = residual[:, :3]
    expected = np.linalg.inv(spread[:, :3, :3] + variance[:, None, None] * _EYE)
    surprise2 = (np.swapaxes(force, 1, 2) @ expected @ force)[:, 0, 0]
    noise = np.empty((len(D), 6))
    noise[:, :3] = variance[:, None]
    noise[:, 3:] = (UP_SHARE**2 * (0.5 * (one.up_sd**2 + two.up_sd**2) + UP_SD_LEAST_RAD**2))[:, None]
    if surprise2.max() > OUTLIER**2:
        over = np.maximum(surprise2 / OUTLIER**2 - 1.0, 0.0)
        noise[:, :3] *= (1.0 + 3.0 * over)[:, None]
    gain = PH @ np.linalg.inv(spread + noise[:, :, None] * _EYE6)
    change = (gain @ residual)[..., 0]
    P = P - gain @ np.swapaxes(PH, 1, 2)
    return turned(D, change[:, :3]), 0.5 * (P + np.swapaxes(P, 1, 2)), arms + change[:, 3:]


def turned(D: Floats, vectors: Floats) -> Floats:
    """(J, 3, 3) rotations turned by (J, 3) rotation vectors given in the proximal frame."""
    # the hair's breadth keeps 0/0 away; it is far below what counts
    angle = np.sqrt((vectors * vectors).sum(axis=1) + 1e-24)[:, None, None]
    X = _cross(vectors)
    half = np.sin(0.5 * angle) / angle
    R = _EYE + (np.sin(angle) / angle) * X + (2.0 * half * half) * (X @ X)
    D = R @ D
    # one Newton step keeps it a rotation: D (3 - DᵀD)/2
    out: Floats = D @ (1.5 * _EYE - 0.5 * (np.swapaxes(D, 1, 2) @ D))
    return out


@dataclass(frozen=True, slots=True)
class Sight:
    """What sensors say of a joint centre, mean over a few samples, in their gyroscope frames. Any leading axes."""

    force: Floats
    """(..., 3) S·f"""
    lever: Floats
    """(..., 3, 3) S·K"""
    rate2: Floats
    """(...,) |ω|²"""
    lever2: Floats
    """(...,) |K|²"""
    up: Floats
    """(..., 3) the vertical, as the sensor's own filter has it."""
    up_sd: Floats
    """(...,) rad"""

    def __getitem__(self, at: Any) -> Sight:
        return Sight(self.force[at], self.lever[at], self.rate2[at], self.lever2[at], self.up[at], self.up_sd[at])


def sight(S: Floats, acc: Floats, rate: Floats, up: Floats, up_sd: Floats, step_s: float) -> Sight:
    """Mean over N samples, from (..., N+2, 3, 3) gyroscope-frame orientation, (..., N+2, 3) specific force and rates:
    the first and the last are there for their rates only."""
    spin = (rate[..., 2:, :] - rate[..., :-2, :]) / (2.0 * step_s)
    S, acc, rate = S[..., 1:-1, :, :], acc[..., 1:-1, :], rate[..., 1:-1, :]
    rate2 = (rate * rate).sum(axis=-1)
    K = rate[..., :, None] * rate[..., None, :] - rate2[..., None, None] * _EYE + _cross(spin)
    n = rate.shape[-2]
    # one product sums over the samples too: (3, 3n)·(3n, 4)
    rows = np.concatenate((acc[..., None], K), axis=-1)
    wide = np.swapaxes(S, -3, -2).reshape(*S.shape[:-3], 3, 3 * n)
    sums = wide @ rows.reshape(*rows.shape[:-3], 3 * n, 4) / n
    return Sight(sums[..., 0], sums[..., 1:], rate2.sum(axis=-1) / n, (K * K).sum(axis=(-1, -2, -3)) / n, up, up_sd)


_EYE = np.eye(3)
_EYE9 = np.eye(9)
_EYE6 = np.eye(6)
_ARMS = np.arange(3, 9)
_CROSS = np.zeros((3, 9))
_CROSS[2, 1], _CROSS[1, 2], _CROSS[2, 3], _CROSS[0, 5], _CROSS[1, 6], _CROSS[0, 7] = -1.0, 1.0, 1.0, -1.0, -1.0, 1.0


def _cross(v: Floats) -> Floats:
    """(..., 3, 3) [v]×"""
    return (v @ _CROSS).reshape(*v.shape, 3)
