"""Standard deviations of the angles: what the fit leaves, what the joints know, and soft tissue under the straps."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

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
    found: jcs.Coordinates,
    relative: Relative,
    zero: Zero,
    start: int,
    before: Floats,
) -> Floats:
    """(J+1, n, 3) standard deviations of n steps of a block, from its step `start` on; `R` and `found` are of all
    joints and the pelvis, the other arrays of these steps too. `before` (J+1, 3) holds until the first that changes."""
    J, n, begins = len(worn.joints), R.shape[1], relative.begins
    if not len(begins):
        return before[:, None].repeat(n, axis=1)
    fit = _left_by_fit(worn, block, relative.since_zero, zero, begins + start)
    at = R[:J].take(begins, axis=1)
    below = at @ fit.own.take(worn.distal, axis=0) @ at.swapaxes(-1, -2)
    of_joints = relative.covariance + fit.own.take(worn.proximal, axis=0) + below + fit.drift
    covariance = np.concatenate((of_joints, _of_pelvis(worn, block, fit, zero, begins + start)[None]))
    then = found.at(begins)
    by_rate = then.matrix()
    variance = ((by_rate @ covariance) * by_rate).sum(axis=-1)
    variance[:J] += _soft2(worn, relative.level, then.raw[:J])
    new = np.sqrt(np.maximum(variance, 0.0))  # rounding
    holds = [end - begin for begin, end in pairwise((0, *begins.tolist(), n))]
    return np.concatenate((before[:, None], new), axis=1).repeat(holds, axis=1)


def _soft2(worn: Wearing, level: Floats, raw: Floats) -> Floats:
    """(J, M, 3) variance of soft tissue: as far as the joints' forces show that it moves, from (J, M) their residuals'
    variance over that of a rigid body (a rig has none, and somebody who stands still has none); and of a hip's rotation
    what the skin does not follow."""
    known = np.where(np.isfinite(raw), raw, 0.0)
    out: Floats = (1.0 - 1.0 / level)[..., None] * (_SOFT2 + (known * _SOFT_SHARES) ** 2)
    out[..., 2] += (worn.hips * FOLLOWS_SHARE * np.minimum(np.abs(known[..., 2]), FOLLOWS_MOST_RAD)) ** 2
    return out


_SOFT2, _SOFT_SHARES = SOFT_RAD**2, np.array([SOFT_SHARE, 0.0, 0.0])


@dataclass(slots=True)
class _Fit:
    """What the fit leaves at some steps."""

    own: Floats
    """(S, M, 3, 3) of every segment, in its own axes."""
    now: Floats
    """The same as gravity shows "up" at these steps."""
    up: Floats
    """(S, M, 3) that "up"."""
    drift: Floats
    """(J, M, 3, 3) by which the joints have parted since the zero."""


def _left_by_fit(worn: Wearing, block: AlignedBlock, since_zero: Floats, zero: Zero, at: Ints) -> _Fit:
    """At first as the gyroscopes have carried the zero's "up" on, and later as gravity shows "up" now. Without that a
    bar would depend on which way somebody walks.

    An accelerometer's offset b tilts "up" in the fit by ``y × b/g``, and tilted it by ``u × b/g`` when the segment was
    zeroed, u being up at that pose. The gyroscope carries the latter along, so both cancel until the segment turns away
    by A, `since_zero`: what is left is ``y × b/g - A·(u × b/g)``. Likewise a functional axis that is off by e about y:
    the zero took it out about the vertical, which leaves ``e·(y - A·u)``.
    """
    up = (from_q(block.q_es.take(at, axis=0))[..., None, 2, :] @ worn.q_sb)[..., 0, :].swapaxes(0, 1)
    carried = since_zero @ _shown(zero.up)[:, None]
    since_s = np.maximum(block.t_s.take(at) - zero.t_s, 0.0)
    kept = np.exp(-since_s / FORGETS_S)[:, None, None]
    variance = worn.fit_variance[:, None, None]
    now = _product(_SHOWN_Y - _shown(up), variance)
    own = kept * _product(_SHOWN_Y - carried, variance) + (1.0 - kept) * now
    # two gyroscopes part by their biases, about the vertical; gravity holds the rest
    grown = carried[..., 0].take(worn.proximal, axis=0) * (2.0**0.5 * BIAS_SD_RAD_S * since_s)[:, None]
    return _Fit(own, now, up, grown[..., :, None] * grown[..., None, :])


def _shown(up: Floats) -> Floats:
    """(..., 3, 4) how a turn about the vertical and an offset along x, y, z over gravity turn the segment: u, [u]×."""
    return (up @ _OF_UP).reshape(*up.shape, 4)


_EYE = np.eye(3)
_OF_UP = np.stack([np.column_stack((u, np.cross(u, _EYE).T)) for u in _EYE]).reshape(3, 12)
_SHOWN_Y = _shown(np.array([0.0, 1.0, 0.0]))


def _product(N: Floats, variance: Floats) -> Floats:
    """(..., 3, 3) N·diag(variance)·Nᵀ, and what the standing pose leaves."""
    out: Floats = (N * variance) @ N.swapaxes(-1, -2) + _STOOD
    return out


_STOOD = UP_SD_RAD**2 * _EYE


BIAS_SD_RAD_S = np.deg2rad(0.05)
"""What is left of a gyroscope's bias after a rest, and what it wanders until the next zero. Chosen; data sheets allow
0.02 °/s for each kelvin."""


def _of_pelvis(worn: Wearing, block: AlignedBlock, fit: _Fit, zero: Zero, at: Ints) -> Floats:
    """(M, 3, 3) at the steps `at`, in pelvis coordinates: the tilt's variance about every axis, and about the vertical
    what the heading has drifted since the zero."""
    i = worn.pelvis
    tilt = block.inclination_sd_rad[:, i].take(at)
    drifted = np.maximum(block.heading_sd_rad[:, i].take(at) - zero.heading_sd_rad, 0.0)
    vertical = fit.up[i] * drifted[:, None]
    # its tilt comes from gravity at every instant: "up" of its zero is up now
    out: Floats = vertical[:, :, None] * vertical[:, None, :] + (tilt * tilt)[:, None, None] * _EYE + fit.now[i]
    return out
