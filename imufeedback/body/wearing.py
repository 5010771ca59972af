"""What stays the same while one fit holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from imufeedback.body import jcs, pelvis
from imufeedback.body.joints import Joint
from imufeedback.records import Floats, Hand, Segment


@dataclass(frozen=True, slots=True)
class Wearing:
    """What stays the same while one fit holds."""

    pelvis: int
    """Place of the pelvis among the segments."""
    proximal: npt.NDArray[np.intp]
    distal: npt.NDArray[np.intp]
    """(J,) places of the joints' segments."""
    carriers: npt.NDArray[np.intp]
    """(J+1,) the proximal ones, and the pelvis, from which the earth hangs."""
    hips: Floats
    """(J, 1) 1 for a hip, 0 for a knee."""
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
            np.array([*proximal, hips], dtype=np.intp),
            np.array([[float(one.name == "hip")] for one in joints]).reshape(-1, 1),
            joints,
            q_sb,
            np.array(signs)[:, None],
            fit_sd_rad[:, [1, 2, 2, 0]] ** 2,
        )
