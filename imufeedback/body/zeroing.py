"""When to zero, and what zeroing sets.

Pelvis turn and hip rotations count from the player's own pose: from standing still once after the calibration, and from
every address after that. The thigh angle does not: it is absolute, from the calibration.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from imufeedback.body import jcs
from imufeedback.body.matrices import about_vertical
from imufeedback.records import Floats, Segment

ADDRESS_TILT_RAD = (np.deg2rad(6.0), np.deg2rad(60.0))
"""Forward tilt of the pelvis at address, from standing: a bend, which quiet standing and sitting (rolled back) lack."""
ADDRESS_THIGH_RAD = (np.deg2rad(8.0), np.deg2rad(75.0))
UPRIGHT_TILT_RAD, STOOD_THIGH_RAD = np.deg2rad(5.0), np.deg2rad(12.0)
"""A player has stood up when the pelvis tips and both thighs bend by less. A pelvis alone comes upright in many a
downswing; a finish that is held bent would then be taken for the next address."""
SAME_ADDRESS_RAD = np.deg2rad(8.0)
STILL_RAD_S = 0.05
"""Slower than 3 °/s about any axis: breathing and sway pass, the beginning of a slow takeaway does not."""
AGAIN_S = 1.0
"""While the player stays at address the zero follows this often: the last one before the swing counts."""


@dataclass
class Zero:
    """Headings that zeroing sets; all in radians about the vertical."""

    pelvis_rad: float = 0.0
    """Turned away from the pelvis' own earth heading, so that turn is zero."""
    of: dict[Segment, float] = field(default_factory=dict)
    """Turn of each other segment's earth that brings it into the pelvis' earth."""
    up: Floats = field(default_factory=lambda: np.zeros((0, 3)))
    """(S, 3) the vertical in each segment's axes."""
    heading_sd_rad: float = 0.0
    """Heading standard deviation of the pelvis sensor when it was zeroed: what has grown since is the error now."""
    t_s: float = -np.inf


def zero_at(R_eb: Mapping[Segment, Floats], heading_sd_rad: float, t_s: float) -> Zero:
    """The zero for one pose; `R_eb` (3, 3) segment→earth of every segment, each in its own earth."""
    pelvis = R_eb[Segment.PELVIS]
    of: dict[Segment, float] = {}
    for segment in R_eb:
        if segment in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH):
            of[segment] = jcs.rotation_free_heading(pelvis, R_eb[segment])
    for thigh, shank in ((Segment.LEFT_THIGH, Segment.LEFT_SHANK), (Segment.RIGHT_THIGH, Segment.RIGHT_SHANK)):
        if shank in R_eb and thigh in of:
            of[shank] = jcs.rotation_free_heading(about_vertical(of[thigh]) @ R_eb[thigh], R_eb[shank])
    return Zero(
        pelvis_rad=float(np.arctan2(pelvis[1, 2], pelvis[0, 2])) + np.pi / 2,
        of=of,
        up=np.stack([R[2] for R in R_eb.values()]),
        heading_sd_rad=heading_sd_rad,
        t_s=t_s,
    )


def is_address(forward_tilt_rad: float, thighs_rad: Floats) -> bool:
    """Whether a still pose is an address: bent forward at the hips, on both legs."""
    low, high = ADDRESS_TILT_RAD
    return bool(
        low <= forward_tilt_rad <= high
        and np.all(thighs_rad >= ADDRESS_THIGH_RAD[0])
        and np.all(thighs_rad <= ADDRESS_THIGH_RAD[1])
    )
