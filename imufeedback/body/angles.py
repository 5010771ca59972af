"""Orientations of the segments to the angles that are shown, with their rates and standard deviations.

The pelvis goes the same way as the joints: the earth hangs from it like one more segment (`pelvis.as_joint`).
"""

from __future__ import annotations

import numpy as np

from imufeedback.body import jcs, pelvis
from imufeedback.body.bars import LIMIT_RAD, bars
from imufeedback.body.links import Relative
from imufeedback.body.wearing import Wearing
from imufeedback.body.zeroing import Zero
from imufeedback.records import AlignedBlock, Angles, Bools, Floats, JointAngles, PelvisAngles


def angles(
    worn: Wearing, block: AlignedBlock, R_eb: Floats, relative: Relative, zero: Zero, rows: slice, sd: Floats
) -> tuple[Angles, Floats]:
    """Angles of the steps `rows` of a block; `R_eb` (N, 3, 3) pelvis→earth.

    `sd` (J+1, 3) is the standard deviation that held at the step before; the one at the last step is given back. It is
    computed where a joint's state changes, every 40 ms at least, and holds in between: it moves slowly. An angle whose
    bar is above `bars.LIMIT_RAD` is not ok.
    """
    t_s = block.t_s[rows]
    n, J = len(t_s), len(worn.joints)
    R = np.empty((J + 1, n, 3, 3))
    R[:J] = relative.R[:, rows]
    R[J] = pelvis.as_joint(R_eb[rows], zero.pelvis_rad)
    # angular velocity of every segment in its own axes, then of each joint in the proximal ones
    omega = np.swapaxes(block.gyr_rad_s[rows], 0, 1) @ worn.q_sb
    turning = np.empty((J + 1, n, 3))
    turning[:J] = (R[:J] @ omega[worn.distal][..., None])[..., 0] - omega[worn.proximal]
    turning[J] = -omega[worn.pelvis]
    raw, rate = jcs.angles_and_rates(R, turning)
    angle = raw * worn.signs
    rate *= worn.signs
    spread = bars(worn, block, R, raw, R_eb, relative, zero, rows, sd)
    ok = _known(worn, block.ok[rows], raw, spread)
    if not ok.all():
        angle[~ok], rate[~ok] = np.nan, np.nan
    for one in (t_s, angle, rate, spread, ok):
        one.flags.writeable = False
    hips = PelvisAngles(t_s, angle[J, :, ::-1], rate[J, :, ::-1], spread[J, :, ::-1], ok[J, :, ::-1])
    joints = tuple(
        JointAngles(one.name, one.side, t_s, angle[k], rate[k], spread[k], ok[k]) for k, one in enumerate(worn.joints)
    )
    return Angles(t_s, hips, joints), spread[:, -1]


def _known(worn: Wearing, ok: Bools, raw: Floats, spread: Floats) -> Bools:
    """(J+1, n, 3) where both sensors were there, the angles are defined, and their bars are within the limit."""
    # near its pole all three of a joint are of no meaning
    out: Bools = np.isfinite(raw).all(axis=-1, keepdims=True) & (spread <= LIMIT_RAD)
    if not ok.all():
        out[:-1] &= (ok[:, worn.proximal] & ok[:, worn.distal]).T[..., None]
        out[-1] &= ok[:, worn.pelvis, None]
    return out
