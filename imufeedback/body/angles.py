"""Orientations of the segments to the angles that are shown, with their rates and standard deviations.

The pelvis goes the same way as the joints: the earth hangs from it like one more segment (`pelvis.as_joint`).
"""

from __future__ import annotations

import numpy as np

from imufeedback.body import jcs, pelvis
from imufeedback.body.bars import LIMIT_RAD, bars
from imufeedback.body.links import Relative
from imufeedback.body.matrices import every
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
    relative, t_s, J = relative.part(rows), block.t_s[rows], len(worn.joints)
    R = np.concatenate((relative.R, pelvis.as_joint(R_eb[rows], zero.pelvis_rad)[None]))
    # angular velocity of every segment in its own axes, then of each joint in the proximal ones
    omega = block.gyr_rad_s[rows].swapaxes(0, 1) @ worn.q_sb
    turning = -omega.take(worn.carriers, axis=0)
    turning[:J] += (relative.R @ omega.take(worn.distal, axis=0)[..., None])[..., 0]
    found = jcs.Coordinates.of(R)
    angle, rate = found.raw * worn.signs, found.rates(turning) * worn.signs
    spread = bars(worn, block, R, found, relative, zero, rows.start, sd)
    ok = _known(worn, block.ok[rows], found.raw, spread)
    if not every(ok):
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
    out: Bools = spread <= LIMIT_RAD
    defined = np.isfinite(raw)
    if not every(defined):  # near its pole all three of a joint are of no meaning
        out &= defined.all(axis=-1, keepdims=True)
    if not every(ok):
        out[:-1] &= (ok[:, worn.proximal] & ok[:, worn.distal]).T[..., None]
        out[-1] &= ok[:, worn.pelvis, None]
    return out
