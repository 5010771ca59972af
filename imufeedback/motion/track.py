"""What the motion stage looks at: one row a time step, named columns."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from imufeedback.motion import needs
from imufeedback.motion.needs import Needed
from imufeedback.records import Angles, Bools, Floats, Hand, JointAngles, Side


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
    MISSING = 12
    """Angles (`Needed`, as a number) whose samples never came …"""
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
    UNSURE = 25
    """… and those that are not known well enough."""


_PELVIS = (Needed.TURN, Needed.SIDE_TILT, Needed.FORWARD_TILT)
_TRAIL_HIP = (Needed.TRAIL_FLEXION, Needed.TRAIL_ADDUCTION, Needed.TRAIL_ROTATION)
_LEAD_HIP = (Needed.LEAD_FLEXION, Needed.LEAD_ADDUCTION, Needed.LEAD_ROTATION)


def track(angles: Angles, hand: Hand) -> Floats:
    """(N, `len(Col)`) rows of one stretch of angles. Raises KeyError when a thigh carries no sensor."""
    trail, lead = angles.joint("hip", hand.trail), angles.joint("hip", hand.lead)
    pelvis = angles.pelvis
    out = np.empty((len(angles.t_s), len(Col)))
    out[:, Col.T] = angles.t_s
    known = all(one.ok.all() for one in (pelvis, trail, lead))
    turned, trails, leads = (
        one.angle_rad if known else np.where(one.ok, one.angle_rad, np.nan) for one in (pelvis, trail, lead)
    )
    out[:, Col.TURN], out[:, Col.TURN_RATE] = turned[:, 0], pelvis.rate_rad_s[:, 0]
    out[:, Col.SIDE_TILT], out[:, Col.FORWARD_TILT] = turned[:, 1], turned[:, 2]
    out[:, Col.SIDE_TILT_RATE], out[:, Col.TILT_SD] = pelvis.rate_rad_s[:, 1], pelvis.sd_rad[:, 1]
    out[:, Col.TRAIL_THIGH], out[:, Col.TRAIL_THIGH_RATE] = trails[:, 0], trail.rate_rad_s[:, 0]
    out[:, Col.LEAD_THIGH], out[:, Col.LEAD_THIGH_RATE] = leads[:, 0], lead.rate_rad_s[:, 0]
    out[:, Col.TRAIL_ROTATION], out[:, Col.TRAIL_ROTATION_RATE] = trails[:, 2], trail.rate_rad_s[:, 2]
    out[:, Col.LEAD_ROTATION], out[:, Col.LEAD_ROTATION_RATE] = leads[:, 2], lead.rate_rad_s[:, 2]
    out[:, Col.TRAIL_ADDUCTION], out[:, Col.LEAD_ADDUCTION] = trails[:, 1], leads[:, 1]
    out[:, Col.THIGH_SD], out[:, Col.LEAD_THIGH_SD] = trail.sd_rad[:, 0], lead.sd_rad[:, 0]
    out[:, Col.ROTATION_SD] = np.maximum(trail.sd_rad[:, 2], lead.sd_rad[:, 2])
    out[:, Col.MISSING] = out[:, Col.UNSURE] = 0.0
    if not known:
        for part, names in ((pelvis, _PELVIS), (trail, _TRAIL_HIP), (lead, _LEAD_HIP)):
            _unknown(out, part.ok, part.sd_rad, names)
        _silent_pelvis(out)
    _knees(out, angles, hand)
    return out


def _unknown(out: Floats, known: Bools, sd_rad: Floats, names: tuple[Needed, ...]) -> None:
    """Note what is not known. An angle without samples has no error bar either; a doubtful one has."""
    for column, name in enumerate(names):
        no = ~known[:, column]
        never = no & np.isnan(sd_rad[:, column])
        out[never, Col.MISSING] += name
        out[no & ~never, Col.UNSURE] += name


def _silent_pelvis(out: Floats) -> None:
    """A hip without samples beside a pelvis of which nothing at all is known: it is the pelvis' sensor that is silent.
    Its own error bar may still be the one of its last sample."""
    pelvis, hips = int(needs.PELVIS), int(needs.TRAIL_HIP | needs.LEAD_HIP)
    missing, unsure = out[:, Col.MISSING].astype(np.int64), out[:, Col.UNSURE].astype(np.int64)
    silent = (((missing | unsure) & pelvis) == pelvis) & ((missing & hips) != 0)
    out[silent, Col.MISSING] = missing[silent] | pelvis
    out[silent, Col.UNSURE] = unsure[silent] & ~pelvis


def _knees(out: Floats, angles: Angles, hand: Hand) -> None:
    """A player without shank sensors has no knees, and nothing about them is missing."""
    trail, lead = _knee(angles, hand.trail), _knee(angles, hand.lead)
    if trail is None or lead is None:
        out[:, [Col.TRAIL_KNEE, Col.LEAD_KNEE, Col.LEAD_KNEE_RATE, Col.KNEE_SD]] = np.nan
        return
    out[:, Col.TRAIL_KNEE], out[:, Col.LEAD_KNEE] = trail.angle_rad[:, 0], lead.angle_rad[:, 0]
    for knee, name, column in (
        (trail, Needed.TRAIL_KNEE, Col.TRAIL_KNEE),
        (lead, Needed.LEAD_KNEE, Col.LEAD_KNEE),
    ):
        if not knee.ok[:, 0].all():
            _unknown(out, knee.ok[:, :1], knee.sd_rad[:, :1], (name,))
            out[~knee.ok[:, 0], column] = np.nan
    out[:, Col.LEAD_KNEE_RATE] = lead.rate_rad_s[:, 0]
    out[:, Col.KNEE_SD] = np.maximum(trail.sd_rad[:, 0], lead.sd_rad[:, 0])


def _knee(angles: Angles, side: Side) -> JointAngles | None:
    return next((one for one in angles.joints if one.joint == "knee" and one.side is side), None)
