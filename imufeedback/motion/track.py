"""What the motion stage looks at: one row a time step, named columns."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from imufeedback.records import Angles, Floats, Hand


class Col(IntEnum):
    """Columns of a track; angles in rad, rates in rad/s, clinical and player's signs."""

    T = 0
    TURN = 1
    TURN_RATE = 2
    SIDE_TILT = 3
    FORWARD_TILT = 4
    TRAIL_THIGH = 5
    TRAIL_THIGH_RATE = 6
    LEAD_THIGH = 7
    TRAIL_ROTATION = 8
    LEAD_ROTATION = 9
    THIGH_SD = 10
    ROTATION_SD = 11
    OK = 12


def track(angles: Angles, hand: Hand) -> Floats:
    """(N, 13) rows of one stretch of angles. Raises KeyError when a thigh carries no sensor."""
    trail, lead = angles.joint("hip", hand.trail), angles.joint("hip", hand.lead)
    pelvis = angles.pelvis
    out = np.empty((len(angles.t_s), len(Col)))
    out[:, Col.T] = angles.t_s
    out[:, Col.TURN], out[:, Col.TURN_RATE] = pelvis.angle_rad[:, 0], pelvis.rate_rad_s[:, 0]
    out[:, Col.SIDE_TILT], out[:, Col.FORWARD_TILT] = pelvis.angle_rad[:, 1], pelvis.angle_rad[:, 2]
    out[:, Col.TRAIL_THIGH], out[:, Col.TRAIL_THIGH_RATE] = trail.angle_rad[:, 0], trail.rate_rad_s[:, 0]
    out[:, Col.LEAD_THIGH] = lead.angle_rad[:, 0]
    out[:, Col.TRAIL_ROTATION], out[:, Col.LEAD_ROTATION] = trail.angle_rad[:, 2], lead.angle_rad[:, 2]
    out[:, Col.THIGH_SD] = trail.sd_rad[:, 0]
    out[:, Col.ROTATION_SD] = np.maximum(trail.sd_rad[:, 2], lead.sd_rad[:, 2])
    out[:, Col.OK] = pelvis.ok & trail.ok & lead.ok
    return out
