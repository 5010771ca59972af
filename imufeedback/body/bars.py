"""Standard deviations of the angles: what the fit leaves, what the joints know, and soft tissue under the straps."""

from __future__ import annotations

import numpy as np

from imufeedback.body import jcs
from imufeedback.body.links import Relative
from imufeedback.body.matrices import from_q
from imufeedback.body.wearing import Wearing
from imufeedback.body.zeroing import Zero
from imufeedback.records import AlignedBlock, Floats, Ints

LIMIT_RAD = np.deg2rad([12.0, 12.0, 15.0])
"""An angle whose bar is wider is not ok: flexion, adduction, rotation; of the pelvis forward tilt, side tilt, turn.
What is looked for is a loss of 20 to 25 degrees of thigh angle and turns of 30 to 45: at half of that a bar decides
nothing. Chosen."""
UP_SD_RAD = np.deg2rad(0.2)
"""Of the standing pose itself: sway. Chosen."""
FORGETS_S = 4.0
"""After so long the joint filter's tilt is that of gravity, and the zero's is forgotten: with people's residuals a
change of tilt is followed in 1 to 4 s."""
SOFT_RAD = np.deg2rad([3.5, 3.5, 6.5])
SOFT_SHARE = 0.05
"""Skin and muscle under a strap against the bone, of a thigh or shank that moves as people move: flexion, adduction,
rotation, and of flexion so much of itself. Bone pins against skin markers in walking: 2 to 5 degrees, rotation 4 to 8
(Leardini et al., Gait Posture 2005;21:212-25; Benoit et al., Gait Posture 2006;24:152-64; from memory)."""
FOLLOWS_SHARE, FOLLOWS_MOST_RAD = 0.15, np.deg2rad(45.0)
"""A thigh's skin follows a hip's rotation only in part (Fiorentino et al., Gait Posture 2017, for skin markers; a tenth
to a sixth is missing, from memory), up to the range that hips have. No force shows it, so it always counts."""


def bars(
    worn: Wearing,
    block: AlignedBlock,
    R: Floats,
    raw: Floats,
    R_eb: Floats,
    relative: Relative,
    zero: Zero,
    rows: slice,
    before: Floats,
) -> Floats:
    """(J+1, n, 3) standard deviations of the steps `rows`, whose rotations are `R` and raw angles `raw`; `before` (J+1,
    3) holds until the first of them."""
    J, n = len(worn.joints), R.shape[1]
    inside = (relative.begins >= rows.start) & (relative.begins < rows.stop)
    if not inside.any():
        return np.repeat(before[:, None], n, axis=1)
    begins = relative.begins[inside]
    since_zero, t_s = relative.since_zero[:, inside], block.t_s[begins]
    covariance = np.empty((J + 1, len(begins), 3, 3))
    at = R[:, begins - rows.start]
    own = _left_by_fit(worn, block, since_zero, zero, begins)
    below = at[:J] @ own[worn.distal] @ np.swapaxes(at[:J], -1, -2)
    covariance[:J] = relative.covariance[:, inside] + own[worn.proximal] + below
    covariance[:J] += _drift(worn, since_zero, zero, t_s)
    covariance[J] = _pelvis_covariance(worn, block, R_eb, zero, begins)
    by_rate = jcs.rate_matrix(at)
    variance = ((by_rate @ covariance) * by_rate).sum(axis=-1)
    variance[:J] += _soft2(worn, relative.level[:, inside], raw[:J, begins - rows.start])
    new = np.sqrt(np.maximum(variance, 0.0))  # rounding
    held = np.diff(begins - rows.start, prepend=0, append=n)  # steps for which each one holds
    return np.repeat(np.concatenate((before[:, None], new), axis=1), held, axis=1)


def _soft2(worn: Wearing, level: Floats, raw: Floats) -> Floats:
    """(J, M, 3) variance of soft tissue: as far as the joints' forces show that it moves, from (J, M) their residuals'
    variance over that of a rigid body (a rig has none, and somebody who stands still has none); and of a hip's rotation
    what the skin does not follow."""
    out = np.empty((*level.shape, 3))
    out[:] = SOFT_RAD**2
    out[..., 0] += (SOFT_SHARE * np.nan_to_num(raw[..., 0])) ** 2
    out *= (1.0 - 1.0 / level)[..., None]
    hips = [one.name == "hip" for one in worn.joints]
    out[hips, :, 2] += (FOLLOWS_SHARE * np.minimum(np.abs(np.nan_to_num(raw[hips, :, 2])), FOLLOWS_MOST_RAD)) ** 2
    return out


def _left_by_fit(worn: Wearing, block: AlignedBlock, since_zero: Floats, zero: Zero, at: Ints) -> Floats:
    """(S, M, 3, 3) of every segment, in its own axes: at first as the gyroscopes have carried the zero's "up" on, and
    later as gravity shows "up" now. Without that a bar would depend on which way somebody walks."""
    carried = _fit_covariance(worn.fit_variance[:, None], since_zero, zero.up[:, None])
    up = (from_q(block.q_es[at])[..., None, 2, :] @ worn.q_sb)[..., 0, :]
    now = _fit_covariance(worn.fit_variance[:, None], np.eye(3), np.swapaxes(up, 0, 1))
    kept = np.exp(-np.maximum(block.t_s[at] - zero.t_s, 0.0) / FORGETS_S)[:, None, None]
    out: Floats = kept * carried + (1.0 - kept) * now
    return out


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
