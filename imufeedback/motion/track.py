"""What the motion stage looks at: one row a time step, named columns."""

from __future__ import annotations

from enum import IntEnum

import numpy as np

from imufeedback.motion import needs
from imufeedback.motion.needs import Needed
from imufeedback.records import Angles, Bools, Floats, Hand, Ints


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


def _places() -> Ints:
    """Where each column of a track stands in time, pelvis, trail hip and lead hip: three angles, their rates, their
    standard deviations. Those that are made of several, or stand elsewhere, have that of the time."""
    out = np.zeros(len(Col), dtype=np.int64)
    for first, columns in (
        (1, (Col.TURN, Col.SIDE_TILT, Col.FORWARD_TILT, Col.TURN_RATE, Col.SIDE_TILT_RATE, None, None, Col.TILT_SD)),
        (10, (Col.TRAIL_THIGH, Col.TRAIL_ADDUCTION, Col.TRAIL_ROTATION)),
        (13, (Col.TRAIL_THIGH_RATE, None, Col.TRAIL_ROTATION_RATE, Col.THIGH_SD)),
        (19, (Col.LEAD_THIGH, Col.LEAD_ADDUCTION, Col.LEAD_ROTATION)),
        (22, (Col.LEAD_THIGH_RATE, None, Col.LEAD_ROTATION_RATE, Col.LEAD_THIGH_SD)),
    ):
        for place, column in enumerate(columns, first):
            if column is not None:
                out[column] = place
    return out


_PLACES = _places()


def track(angles: Angles, hand: Hand) -> Floats:
    """(N, `len(Col)`) rows of one stretch of angles. Raises KeyError when a thigh carries no sensor."""
    trail, lead = angles.joint("hip", hand.trail), angles.joint("hip", hand.lead)
    pelvis = angles.pelvis
    known = bool((pelvis.ok & trail.ok & lead.ok).all())
    columns = [angles.t_s[:, None]]
    for one in (pelvis, trail, lead):
        angle_rad = one.angle_rad if known else np.where(one.ok, one.angle_rad, np.nan)
        columns += (angle_rad, one.rate_rad_s, one.sd_rad)
    out: Floats = np.concatenate(columns, axis=1).take(_PLACES, axis=1)
    np.maximum(trail.sd_rad[:, 2], lead.sd_rad[:, 2], out=out[:, Col.ROTATION_SD])
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
    knees = {one.side: one for one in angles.joints if one.joint == "knee"}
    if len(knees) < 2:
        out[:, Col.TRAIL_KNEE : Col.LEAD_KNEE_RATE + 1] = out[:, Col.KNEE_SD] = np.nan
        return
    trail, lead = knees[hand.trail], knees[hand.lead]
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
