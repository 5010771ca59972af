"""What the motion stage looks at: one row a time step, named columns."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from imufeedback.records import Angles, Floats, Hand, JointAngles, Side

NEEDED = [0, 2]
"""Of a hip, for judging a rep: flexion and rotation."""


class Col(IntEnum):
    """Columns of a track; angles in rad, rates in rad/s, clinical and player's signs. NaN where no sensor is worn."""

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
    """Of the trail thigh angle."""
    ROTATION_SD = 11
    """The larger one of both sides."""
    OK = 12
    SIDE_TILT_RATE = 13
    TRAIL_ROTATION_RATE = 14
    LEAD_ROTATION_RATE = 15
    TRAIL_KNEE = 16
    LEAD_KNEE = 17
    LEAD_KNEE_RATE = 18
    LEAD_THIGH_SD = 19
    TILT_SD = 20
    """Of the side tilt."""
    KNEE_SD = 21
    """The larger one of both sides."""
    LEAD_THIGH_RATE = 22
    TRAIL_ADDUCTION = 23
    LEAD_ADDUCTION = 24


def track(angles: Angles, hand: Hand) -> Floats:
    """(N, `len(Col)`) rows of one stretch of angles. Raises KeyError when a thigh carries no sensor."""
    trail, lead = angles.joint("hip", hand.trail), angles.joint("hip", hand.lead)
    pelvis = angles.pelvis
    out = np.empty((len(angles.t_s), len(Col)))
    out[:, Col.T] = angles.t_s
    out[:, Col.TURN], out[:, Col.TURN_RATE] = pelvis.angle_rad[:, 0], pelvis.rate_rad_s[:, 0]
    out[:, Col.SIDE_TILT], out[:, Col.FORWARD_TILT] = pelvis.angle_rad[:, 1], pelvis.angle_rad[:, 2]
    out[:, Col.SIDE_TILT_RATE], out[:, Col.TILT_SD] = pelvis.rate_rad_s[:, 1], pelvis.sd_rad[:, 1]
    out[:, Col.TRAIL_THIGH], out[:, Col.TRAIL_THIGH_RATE] = trail.angle_rad[:, 0], trail.rate_rad_s[:, 0]
    out[:, Col.LEAD_THIGH], out[:, Col.LEAD_THIGH_RATE] = lead.angle_rad[:, 0], lead.rate_rad_s[:, 0]
    out[:, Col.TRAIL_ROTATION], out[:, Col.TRAIL_ROTATION_RATE] = trail.angle_rad[:, 2], trail.rate_rad_s[:, 2]
    out[:, Col.LEAD_ROTATION], out[:, Col.LEAD_ROTATION_RATE] = lead.angle_rad[:, 2], lead.rate_rad_s[:, 2]
    out[:, Col.TRAIL_ADDUCTION], out[:, Col.LEAD_ADDUCTION] = trail.angle_rad[:, 1], lead.angle_rad[:, 1]
    out[:, Col.THIGH_SD], out[:, Col.LEAD_THIGH_SD] = trail.sd_rad[:, 0], lead.sd_rad[:, 0]
    out[:, Col.ROTATION_SD] = np.maximum(trail.sd_rad[:, 2], lead.sd_rad[:, 2])
    out[:, Col.OK] = pelvis.ok.all(axis=1) & trail.ok[:, NEEDED].all(axis=1) & lead.ok[:, NEEDED].all(axis=1)
    _knees(out, angles, hand)
    return out


def _knees(out: Floats, angles: Angles, hand: Hand) -> None:
    trail, lead = _knee(angles, hand.trail), _knee(angles, hand.lead)
    if trail is None or lead is None:
        out[:, [Col.TRAIL_KNEE, Col.LEAD_KNEE, Col.LEAD_KNEE_RATE, Col.KNEE_SD]] = np.nan
        return
    out[:, Col.TRAIL_KNEE], out[:, Col.LEAD_KNEE] = trail.angle_rad[:, 0], lead.angle_rad[:, 0]
    out[:, Col.LEAD_KNEE_RATE] = lead.rate_rad_s[:, 0]
    out[:, Col.KNEE_SD] = np.maximum(trail.sd_rad[:, 0], lead.sd_rad[:, 0])


def _knee(angles: Angles, side: Side) -> JointAngles | None:
    return next((one for one in angles.joints if one.joint == "knee" and one.side is side), None)
