"""Orientations of the segments to the angles that are shown, with their rates and standard deviations.

The pelvis goes the same way as the joints: the earth hangs from it like one more segment (`pelvis.as_joint`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from imufeedback.body import jcs, pelvis
from imufeedback.body.joints import Joint
from imufeedback.body.links import Relative
from imufeedback.body.matrices import about_vertical
from imufeedback.body.zeroing import Zero
from imufeedback.records import AlignedBlock, Angles, Bools, Floats, Hand, Ints, JointAngles, PelvisAngles, Segment

UP_SD_RAD = np.deg2rad(0.2)
"""Of the standing pose itself: sway. Chosen."""


@dataclass(frozen=True, slots=True)
class Wearing:
    """What stays the same while one fit holds."""

    pelvis: int
    """Place of the pelvis among the segments."""
    proximal: npt.NDArray[np.intp]
    distal: npt.NDArray[np.intp]
    """(J,) places of the joints' segments."""
    joints: tuple[Joint, ...]
    q_sb: Floats
    """(S, 3, 3) segment→sensor."""
    signs: Floats
    """(J+1, 1, 3) from raw joint angles to the ones that are named; the last row is the pelvis."""
    fit_variance: Floats
    """(S, 4) of what the fit leaves: of the functional axis about y, and of the zero-g offset over gravity along x, y
    and z."""

    @classmethod
    def of(
        cls,
        segments: tuple[Segment, ...],
        joints: tuple[Joint, ...],
        hand: Hand,
        q_sb: Floats,
        fit_sd_rad: Floats,
    ) -> Wearing:
        """`q_sb` (S, 3, 3) and `fit_sd_rad` (S, 3), about x, y and z, in the order of `segments`."""
        at = segments.index
        proximal, distal = ([at(getattr(one, end)) for one in joints] for end in ("proximal", "distal"))
        hips = at(Segment.PELVIS)
        signs = [jcs.signs(one.name, one.side) for one in joints] + [pelvis.from_joint(pelvis.signs(hand))]
        return cls(
            hips,
            np.array(proximal, dtype=np.intp),
            np.array(distal, dtype=np.intp),
            joints,
            q_sb,
            np.array(signs)[:, None],
            fit_sd_rad[:, [1, 2, 2, 0]] ** 2,
        )


def angles(
    worn: Wearing, block: AlignedBlock, R_eb: Floats, relative: Relative, zero: Zero, rows: slice, sd: Floats
) -> tuple[Angles, Floats]:
    """Angles of the steps `rows` of a block; `R_eb` (N, 3, 3) pelvis→earth.

    `sd` (J+1, 3) is the standard deviation that held at the step before; the one at the last step is given back. It is
    computed where a joint's state changes, every 40 ms at least, and holds in between: it moves slowly.
    """
    t_s = block.t_s[rows]
    n, J = len(t_s), len(worn.joints)
    R = np.empty((J + 1, n, 3, 3))
    R[:J] = relative.R[:, rows]
    R[J] = np.swapaxes(pelvis.Y_UP @ about_vertical(-zero.pelvis_rad) @ R_eb[rows], -1, -2)
    # angular velocity of every segment in its own axes, then of each joint in the proximal ones
    omega = np.swapaxes(block.gyr_rad_s[rows], 0, 1) @ worn.q_sb
    turning = np.empty((J + 1, n, 3))
    turning[:J] = (R[:J] @ omega[worn.distal][..., None])[..., 0] - omega[worn.proximal]
    turning[J] = -omega[worn.pelvis]
    raw, rate = jcs.angles_and_rates(R, turning)
    angle = raw * worn.signs
    rate *= worn.signs
    spread = _spread(worn, block, R, R_eb, relative, zero, rows, sd)
    ok = _known(worn, block.ok[rows], raw)
    if not ok.all():
        angle[~ok], rate[~ok] = np.nan, np.nan
    for one in (t_s, angle, rate, spread, ok):
        one.flags.writeable = False
    hips = PelvisAngles(t_s, angle[J, :, ::-1], rate[J, :, ::-1], spread[J, :, ::-1], ok[J, :, ::-1])
    joints = tuple(
        JointAngles(one.name, one.side, t_s, angle[k], rate[k], spread[k], ok[k]) for k, one in enumerate(worn.joints)
    )
    return Angles(t_s, hips, joints), spread[:, -1]


def _spread(
    worn: Wearing,
    block: AlignedBlock,
    R: Floats,
    R_eb: Floats,
    relative: Relative,
    zero: Zero,
    rows: slice,
    before: Floats,
) -> Floats:
    """(J+1, n, 3) standard deviations of the steps `rows`."""
    J, n = len(worn.joints), R.shape[1]
    inside = (relative.begins >= rows.start) & (relative.begins < rows.stop)
    if not inside.any():
        return np.repeat(before[:, None], n, axis=1)
    begins = relative.begins[inside]
    covariance = np.empty((J + 1, len(begins), 3, 3))
    at = R[:, begins - rows.start]
    own = _fit_covariance(worn.fit_variance[:, None], relative.since_zero[:, inside], zero.up[:, None])
    below = at[:J] @ own[worn.distal] @ np.swapaxes(at[:J], -1, -2)
    covariance[:J] = relative.covariance[:, inside] + own[worn.proximal] + below
    covariance[:J] += _drift(worn, relative.since_zero[:, inside], zero, block.t_s[begins])
    covariance[J] = _pelvis_covariance(worn, block, R_eb, zero, begins)
    by_rate = jcs.rate_matrix(at)
    variance = ((by_rate @ covariance) * by_rate).sum(axis=-1)
    new = np.sqrt(np.maximum(variance, 0.0))  # rounding
    held = np.diff(begins - rows.start, prepend=0, append=n)  # steps for which each one holds
    return np.repeat(np.concatenate((before[:, None], new), axis=1), held, axis=1)


BIAS_SD_RAD_S = np.deg2rad(0.05)
"""What is left of a gyroscope's bias after a rest, and what it wanders until the next zero. Chosen; data sheets allow
0.02 °/s for each kelvin."""


def _drift(worn: Wearing, since_zero: Floats, zero: Zero, t_s: Floats) -> Floats:
    """(J, M, 3, 3) about the vertical: two gyroscopes part by their biases since the zero; gravity holds the rest."""
    up = (since_zero @ zero.up[:, None, :, None])[worn.proximal, ..., 0]
    grown2 = 2.0 * (BIAS_SD_RAD_S * np.maximum(t_s - zero.t_s, 0.0)) ** 2
    out: Floats = up[..., :, None] * up[..., None, :] * grown2[:, None, None]
    return out


def _fit_covariance(variance: Floats, since_zero: Floats, up: Floats) -> Floats:
    """(..., 3, 3) what the fit leaves of a segment's orientation, in its own axes; `variance` (..., 4) as in `Wearing`.

    An accelerometer's offset b tilts "up" in the fit by ``y × b/g``, and tilted it by ``u × b/g`` when the segment was
    zeroed, `up` (..., 3) being up at that pose. The gyroscope carries the latter along, so both cancel until the
    segment turns away by A, `since_zero` (..., 3, 3): what is left is ``y × b/g - A·(u × b/g)``. Likewise a functional
    axis that is off by e about y: the zero took it out about the vertical, which leaves ``e·(y - A·u)``.
    """
    y = np.array([0.0, 1.0, 0.0])
    by_axis = y - (since_zero @ up[..., None])[..., 0]
    by_offset = _cross(y) - since_zero @ _cross(up)
    N = np.concatenate((by_axis[..., None], by_offset), axis=-1)
    out: Floats = (N * variance[..., None, :]) @ np.swapaxes(N, -1, -2)
    out += UP_SD_RAD**2 * np.eye(3)
    return out


def _cross(v: Floats) -> Floats:
    """(..., 3, 3) [v]×"""
    out = np.zeros((*v.shape, 3))
    x, y, z = (v[..., k] for k in range(3))
    out[..., 2, 1], out[..., 0, 2], out[..., 1, 0] = x, y, z
    out[..., 1, 2], out[..., 2, 0], out[..., 0, 1] = -x, -y, -z
    return out


def _pelvis_covariance(worn: Wearing, block: AlignedBlock, R_eb: Floats, zero: Zero, at: Ints) -> Floats:
    """(M, 3, 3) at the steps `at`, in pelvis coordinates: the tilt's variance about every axis, and about the vertical
    what the heading has drifted since the zero."""
    i = worn.pelvis
    tilt = block.inclination_sd_rad[at, i]
    heading = np.maximum(block.heading_sd_rad[at, i] - zero.heading_sd_rad, 0.0)
    vertical = R_eb[at, 2] * heading[:, None]
    # its tilt comes from gravity at every instant: "up" of its zero is up now
    own = _fit_covariance(worn.fit_variance[i], np.eye(3), R_eb[at, 2])
    out: Floats = vertical[:, :, None] * vertical[:, None, :] + (tilt * tilt)[:, None, None] * np.eye(3)
    return out + own


def _known(worn: Wearing, ok: Bools, raw: Floats) -> Bools:
    """(J+1, n, 3) where both sensors were there and the angles are defined."""
    # near its pole all three of a joint are of no meaning
    out: Bools = np.repeat(np.isfinite(raw).all(axis=-1, keepdims=True), 3, axis=-1)
    if not ok.all():
        out[:-1] &= (ok[:, worn.proximal] & ok[:, worn.distal]).T[..., None]
        out[-1] &= ok[:, worn.pelvis, None]
    return out
