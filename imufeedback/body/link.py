"""The joint constraint: how two sensors on neighbouring segments are turned against each other, without a magnetometer.

The centre of the joint has one acceleration. Seen from both sensors, each in the frame that its own gyroscope carries
along (`strapdown`), the two readings differ by one rotation D that hardly moves. A Kalman filter keeps D and the two
lever arms from sensor to joint:

    S1·(f1 + K1·r1) = D·S2·(f2 + K2·r2)        K = [dω/dt]× + [ω]×²

The vertical that each sensor's own filter has is a second, weak observation: ``u1 = D·u2``. Shocks throw D off that a
gyroscope does not follow (foot strikes), and then the force is doubted too: its noise is what is seen of it. On a rigid
rig residuals are small and alike; on people they are ten times larger at a landing, with heavy tails.

Where D and the two verticals contradict each other beyond their bars, the constraint is wrong, and not gravity: D takes
its tilt from the two (`_held_to_tilt`). So it never makes a tilt worse than the two filters have it.

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

from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Floats

ACC_SD_M_S2 = 0.3
"""Of the mean over one update: accelerometer bias and scale, soft tissue, the joint's own play."""
ARM_SD_SHARE = 0.002
"""Of |K|: what differentiated rates and a joint that is no point add."""
DRIFT_RAD_SQRT_S = np.deg2rad(0.3)
"""Random walk of D: gyroscope noise and wandering bias. joint3d, five trials: 0.2 is too little (2.81° → 2.71°)."""
SCALE_RAD = np.deg2rad(0.02)
"""Random walk of D per rad/s of rotation: gyroscope scale and cross-axis errors while turning."""
ARM_WALK_M_SQRT_S = 1e-4
UP_SHARE = 4.6
"""Of the standard deviation that the two sensors' own filters tell of their tilt, for one update: they are wrong in the
same way for seconds, so one look alone has to count for little."""
UP_SD_LEAST_RAD = np.deg2rad(0.2)
ROUGH_SHARE = 0.5
"""Of the force's own standard deviation within one update: shocks that soft tissue does not pass on alike. Chosen."""
FREEDOM = 4.0
"""Of the residuals' Student distribution: a residual far out counts less (median 0.2 to 0.4, largest 8 to 16 m/s² on
people). With three components its weight is (4 + 3)/(4 + s²)."""
LEVEL_SHARE, LEVEL_MOST = 0.02, 400.0
"""How fast the size of the residuals is learnt (two seconds), and the most it may be over what is said, as variance."""
SURPRISE_MOST = 4.0
"""One knock counts for no more than so many usual residuals in that."""
LASTING_MOST = 4.0
"""Where residuals are larger than said they also last longer (soft tissue, a wrong arm): the noise is once more so many
times larger, at most."""
SHOWN_M_S2 = 0.25
"""Only a horizontal force well above this shows the heading. Zero-g offsets and tilts that are off by a degree or two
are horizontal forces as well, and they last: taken for motion, they would make a heading sure that nothing has shown.
Chosen: 25 mg, and what the tilts may be off."""
TILT_OFF = 3.0
OFF_LEAST_RAD = np.deg2rad(1.5)
OFF_SHARE = 0.1
"""D and the two verticals contradict each other from so many standard deviations on, each of at least so much, in the
mean over 0.4 s: a filter's own vertical may be off by 4 degrees for a tenth of a second of hard acceleration."""
HEADING_SHARE = 0.5
"""Of a tilt that was off: what threw it off has turned the heading too. Chosen."""


@dataclass
class JointFilters:
    """State of the filters of J joints, stacked. `D` takes coordinates in the distal sensor's gyroscope frame to the
    proximal's. The arrays are replaced, never written into: whoever kept one has its value of then."""

    D: Floats
    """(J, 3, 3)"""
    P: Floats
    """(J, 9, 9) covariance of (error of D as a rotation vector in the proximal frame, proximal arm, distal arm)."""
    arms_m: Floats
    """(J, 6) sensor to joint centre: proximal, distal, each in its sensor's coordinates."""

    level: Floats
    """(J,) how many times larger the variance of the force's residual is than said here; learnt, at least 1."""
    off: Floats
    """(J, 3) mean of the rotation vector, proximal frame, that would bring D's vertical to the other sensor's."""

    @classmethod
    def begun(cls, D: Floats, D_sd_rad: Floats, arms_m: Floats, arms_sd_m: Floats) -> JointFilters:
        """`D_sd_rad` (J, 3, 3) is a covariance's square root, any; `arms_sd_m` (J, 6)."""
        P = np.zeros((len(D), 9, 9))
        P[:, :3, :3] = D_sd_rad @ np.swapaxes(D_sd_rad, 1, 2)
        P[:, _ARMS, _ARMS] = arms_sd_m**2
        return cls(D.copy(), P, arms_m.copy(), np.ones(len(D)), np.zeros((len(D), 3)))

    def kept(self) -> JointFilters:
        """As it is now, whatever becomes of this one."""
        return JointFilters(self.D, self.P, self.arms_m, self.level, self.off)

    def observe(self, one: Sight, two: Sight, span_s: float, which: npt.NDArray[np.intp] | None = None) -> Doubts:
        """Update from what both sides saw during `span_s`; all joints, or those named by `which` (then the sights are
        theirs only). Returns which of the joints contradicted gravity, and by how much (rad)."""
        if which is None:
            made, doubts = _updated(self, one, two, span_s)
            self.D, self.P, self.arms_m, self.level, self.off = made.D, made.P, made.arms_m, made.level, made.off
            return doubts
        if not len(which):
            return ()
        part = JointFilters(self.D[which], self.P[which], self.arms_m[which], self.level[which], self.off[which])
        made, doubts = _updated(part, one, two, span_s)
        self.put(which, made)
        return tuple((int(which[k]), off) for k, off in doubts)

    def put(self, which: npt.NDArray[np.intp] | list[int], made: JointFilters) -> None:
        """Replace some joints by those of another link."""
        for name in ("D", "P", "arms_m", "level", "off"):
            array = getattr(self, name).copy()
            array[which] = getattr(made, name)
            setattr(self, name, array)

    def set_heading(self, k: int, turn_rad: float, up: Floats, sd_rad: float) -> None:
        """Turn D of joint k about the vertical `up` (unit, proximal frame), which from now on is known to `sd_rad`."""
        keep = np.eye(9)
        keep[:3, :3] -= np.outer(up, up)
        D, P = self.D.copy(), self.P.copy()
        D[k] = turned(D[k : k + 1], turn_rad * up[None])[0]
        P[k] = keep @ P[k] @ keep.T
        P[k, :3, :3] += sd_rad**2 * np.outer(up, up)
        self.D, self.P = D, P


Doubts = tuple[tuple[int, float], ...]
"""(joint, by how much its tilt was off in rad)"""


def _updated(link: JointFilters, one: Sight, two: Sight, span_s: float) -> tuple[JointFilters, Doubts]:
    """J joints after an update. The arrays given are not changed."""
    D, arms = link.D, link.arms_m
    grown = np.empty((len(D), 9))
    grown[:, :3] = ((DRIFT_RAD_SQRT_S**2 + SCALE_RAD**2 * (one.rate2 + two.rate2)) * span_s)[:, None]
    grown[:, 3:] = ARM_WALK_M_SQRT_S**2 * span_s
    P = link.P + grown[:, :, None] * _EYE9
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
    noise = np.empty((len(D), 6))
    noise[:, :3], level = _noise(link.level, residual[:, :3], spread[:, :3, :3], one, two)
    noise[:, 3:] = (UP_SHARE**2 * (0.5 * (one.up_sd**2 + two.up_sd**2) + UP_SD_LEAST_RAD**2))[:, None]
    gain = PH @ np.linalg.inv(spread + noise[:, :, None] * _EYE6)
    change = (gain @ residual)[..., 0]
    less = gain @ np.swapaxes(PH, 1, 2)
    hidden = _hidden(level, seen[..., 0], one, two)
    change[:, :3] -= hidden * (hidden * change[:, :3]).sum(axis=1, keepdims=True)
    # of a state that takes only a part of its update (Brink, J Guid Control Dyn 2017;40:3242-57, from memory)
    back = (hidden[:, None, :] @ less[:, :3, :3] @ hidden[..., None]) * hidden[:, :, None] * hidden[:, None, :]
    P = P - less
    P[:, :3, :3] += back
    made = JointFilters(
        turned(D, change[:, :3]), 0.5 * (P + np.swapaxes(P, 1, 2)), arms + change[:, 3:], level, link.off
    )
    return made, _held_to_tilt(made, one, two)


def _noise(level: Floats, force: Floats, spread: Floats, one: Sight, two: Sight) -> tuple[Floats, Floats]:
    """(J, 1) variance of the force's residuals (J, 3, 1), whose part from the state is `spread`; and the new level."""
    said = ACC_SD_M_S2**2 + ARM_SD_SHARE**2 * (one.lever2 + two.lever2) + ROUGH_SHARE**2 * (one.rough2 + two.rough2)
    own = level * said
    expected = np.linalg.inv(spread + own[:, None, None] * _EYE)
    surprise2 = (np.swapaxes(force, 1, 2) @ expected @ force)[:, 0, 0]
    level = level * (1.0 + LEVEL_SHARE * (np.minimum(surprise2 / 3.0, SURPRISE_MOST) - 1.0))
    level = np.minimum(np.maximum(level, 1.0), LEVEL_MOST)
    heavy = np.maximum((FREEDOM + surprise2) / (FREEDOM + 3.0), 1.0)
    return (own * heavy * np.minimum(level, LASTING_MOST))[:, None], level


def _hidden(level: Floats, seen: Floats, one: Sight, two: Sight) -> Floats:
    """(J, 3) the vertical, times the root of how little of a heading the forces show now: 0 all, 1 nothing."""
    along = (seen * one.up).sum(axis=1, keepdims=True)
    across2 = ((seen - along * one.up) ** 2).sum(axis=1)
    tipped2 = STANDARD_GRAVITY_M_S2**2 * (one.up_sd**2 + two.up_sd**2)
    share = np.minimum((SHOWN_M_S2**2 * level + tipped2) / (across2 + 1e-12), 1.0)
    out: Floats = np.sqrt(share)[:, None] * one.up
    return out


def _held_to_tilt(link: JointFilters, one: Sight, two: Sight) -> Doubts:
    """Where the vertical of both sensors' own filters contradicts D beyond all bars, and goes on to: D's tilt is taken
    from the two, and its heading may have been turned by what threw the tilt off."""
    above = (link.D @ two.up[..., None])[..., 0]
    link.off = link.off + OFF_SHARE * (_crossed(above, one.up) - link.off)
    off2 = (link.off * link.off).sum(axis=1)
    allowed2 = np.maximum(one.up_sd, OFF_LEAST_RAD) ** 2 + np.maximum(two.up_sd, OFF_LEAST_RAD) ** 2
    if not (off2 > TILT_OFF**2 * allowed2).any():
        return ()
    tilt = link.P[:, :3, :3]
    about = (one.up[:, None, :] @ tilt @ one.up[..., None])[:, 0, 0]
    held2 = 0.5 * (np.trace(tilt, axis1=1, axis2=2) - about)
    # what D itself allows counts only up to as much again: a wide bar must not hide a wrong constraint
    wrong = np.flatnonzero(off2 > TILT_OFF**2 * (allowed2 + np.minimum(held2, allowed2)))
    if not len(wrong):
        return ()
    e = _crossed(above[wrong], one.up[wrong])
    size = np.sqrt((e * e).sum(axis=1) + 1e-24)
    angle = np.arctan2(size, (above[wrong] * one.up[wrong]).sum(axis=1))
    D, P, off = link.D.copy(), link.P.copy(), link.off.copy()
    D[wrong] = turned(D[wrong], e * (angle / size)[:, None])
    upright = one.up[wrong, :, None] * one.up[wrong, None, :]
    heading2 = about[wrong] + (HEADING_SHARE * angle) ** 2
    P[wrong, :3, :], P[wrong, :, :3], off[wrong] = 0.0, 0.0, 0.0
    P[wrong, :3, :3] = heading2[:, None, None] * upright + allowed2[wrong, None, None] * (_EYE - upright)
    link.D, link.P, link.off = D, P, off
    return tuple(zip(wrong.tolist(), angle.tolist(), strict=True))


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
    rough2: Floats
    """(...,) variance of the force within the samples, of one axis."""

    def of(self, sensors: npt.NDArray[np.intp]) -> Sight:
        """Of some along the first axis."""
        return Sight(
            self.force.take(sensors, axis=0),
            self.lever.take(sensors, axis=0),
            self.rate2.take(sensors, axis=0),
            self.lever2.take(sensors, axis=0),
            self.up.take(sensors, axis=0),
            self.up_sd.take(sensors, axis=0),
            self.rough2.take(sensors, axis=0),
        )

    def __getitem__(self, at: Any) -> Sight:
        return Sight(
            self.force[at],
            self.lever[at],
            self.rate2[at],
            self.lever2[at],
            self.up[at],
            self.up_sd[at],
            self.rough2[at],
        )


def sight(S: Floats, acc: Floats, rate: Floats, up: Floats, up_sd: Floats, step_s: float) -> Sight:
    """Means over windows of n samples that follow each other: (M, W·n+2, 3, 3) gyroscope-frame orientation of M
    sensors, (M, W·n+2, 3) specific force and rates, (M, W, 3) vertical and (M, W) how well it is known at each window's
    end. The first and the last sample are there for their rates only."""
    spin = (rate[:, 2:] - rate[:, :-2]) / (2.0 * step_s)
    S, acc, rate = S[:, 1:-1], acc[:, 1:-1], rate[:, 1:-1]
    M, W, _ = up.shape
    n = rate.shape[1] // W
    products = (rate[..., :, None] * rate[..., None, :]).reshape(M, -1, 9)
    rows = np.empty((M, W * n, 3, 4))
    rows[..., 0] = acc
    rows[..., 1:] = (products @ _CENTRAL + spin @ _CROSS).reshape(M, -1, 3, 3)
    # one product sums over the samples too: (3, 3n)·(3n, 4)
    wide = S.reshape(M, W, n, 3, 3).swapaxes(2, 3).reshape(M, W, 3, 3 * n)
    sums = wide @ rows.reshape(M, W, 3 * n, 4) / n
    force = sums[..., 0]
    size2 = (rows * rows).reshape(M, W, 3 * n, 4).sum(axis=2) / n
    rough2 = np.maximum((size2[..., 0] - (force * force).sum(axis=-1)) / 3.0, 0.0)
    rate2 = (rate * rate).reshape(M, W, 3 * n).sum(axis=-1) / n
    return Sight(force, sums[..., 1:], rate2, size2[..., 1:].sum(axis=-1), up, up_sd, rough2)


_EYE = np.eye(3)
_EYE9 = np.eye(9)
_EYE6 = np.eye(6)
_ARMS = np.arange(3, 9)
_CROSS = np.zeros((3, 9))
_CROSS[2, 1], _CROSS[1, 2], _CROSS[2, 3], _CROSS[0, 5], _CROSS[1, 6], _CROSS[0, 7] = -1.0, 1.0, 1.0, -1.0, -1.0, 1.0
_CENTRAL = np.eye(9) - np.outer(_EYE, _EYE)
"""Of the products of ω with itself: ``ω·ωᵀ - |ω|²`` = [ω]×²."""


def _crossed(a: Floats, b: Floats) -> Floats:
    """(J, 3) a × b"""
    out: Floats = (_cross(a) @ b[..., None])[..., 0]
    return out


def _cross(v: Floats) -> Floats:
    """(..., 3, 3) [v]×"""
    return (v @ _CROSS).reshape(*v.shape, 3)
