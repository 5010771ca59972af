"""Where in a block it has to be looked whether to zero: what does not depend on the joints, as columns."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.body import pelvis
from imufeedback.body.zeroing import STILL_RAD_S
from imufeedback.records import AlignedBlock, Bools, Floats


@dataclass(frozen=True, slots=True)
class Looks:
    """One row for each of some steps."""

    t_s: list[float]
    tilts_rad: list[float]
    """Forward tilt of the pelvis."""
    whole: list[bool]
    """All sensors are there."""
    still: list[bool]
    """And rest, and none turns."""

    @classmethod
    def of(cls, block: AlignedBlock, R_eb: Floats, steps: range) -> Looks:
        """`R_eb` (N, 3, 3) pelvis→earth of the block."""
        if not steps:
            return cls([], [], [], [])
        at = slice(steps.start, steps.stop, steps.step)
        whole: Bools = np.all(block.ok[at], axis=1)
        rest = whole & block.rest[at].all(axis=1)
        still = rest & (np.abs(block.gyr_rad_s[at]).max(axis=(1, 2)) < STILL_RAD_S)
        tilts = pelvis.forward_tilts(R_eb[at, 2])
        return cls(block.t_s[at].tolist(), tilts.tolist(), whole.tolist(), still.tolist())
