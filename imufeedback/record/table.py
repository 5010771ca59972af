"""Angles as a CSV table, one row an instant: what spreadsheets and other programs read."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from itertools import product
from pathlib import Path

import numpy as np

from imufeedback.record.files import whole_file
from imufeedback.records import Angles, Bools, Floats, JointAngles, Side

PELVIS_COLUMNS = ("pelvis_turn_deg", "pelvis_side_tilt_deg", "pelvis_forward_tilt_deg")
JOINT_COLUMNS = {"hip": ("flexion_deg", "adduction_deg", "internal_rotation_deg"), "knee": ("flexion_deg",)}
"""Columns of a joint, each behind ``<side>_<joint>_``; of the knee only flexion is measured well enough to be told."""


def columns(angles: Sequence[Angles]) -> list[str]:
    """Names of the columns: time, pelvis, and every joint that occurs anywhere."""
    out = ["time_s", *PELVIS_COLUMNS]
    for joint, side in _joints(angles):
        out += [f"{side.value}_{joint}_{name}" for name in JOINT_COLUMNS[joint]]
    return out


def write_angles(path: str | os.PathLike[str], angles: Sequence[Angles], *, overwrite: bool = False) -> int:
    """Write a table of angles in degrees, with a decimal dot whatever the system's language.

    A cell is empty where the angle is not known (`ok` is false, or NaN). Columns are those of `columns`.

    Returns:
        number of rows.

    Raises CannotWrite when the file exists (without `overwrite`) or cannot be written; nothing half written is left.
    """
    joints = _joints(angles)
    rows = 0
    with whole_file(Path(path), overwrite=overwrite) as file:
        file.write(",".join(columns(angles)) + "\n")
        for one in angles:
            for line in _lines(one, joints):
                file.write(line)
                rows += 1
    return rows


def _joints(angles: Sequence[Angles]) -> list[tuple[str, Side]]:
    found = {(joint.joint, joint.side) for one in angles for joint in one.joints}
    return [(name, side) for name, side in product(JOINT_COLUMNS, Side) if (name, side) in found]


def _lines(angles: Angles, joints: Sequence[tuple[str, Side]]) -> Iterator[str]:
    parts = [_known_deg(angles.pelvis.angle_rad, angles.pelvis.ok)]
    for name, side in joints:
        width = len(JOINT_COLUMNS[name])
        parts.append(_joint_deg(_joint(angles, name, side), width, len(angles.t_s)))
    for t_s, row in zip(angles.t_s.tolist(), np.hstack(parts).tolist(), strict=True):
        # Microseconds: a step of 5 ms stays 5 ms, also when time counts from an epoch.
        yield ",".join([f"{t_s:.6f}", *("" if cell != cell else f"{cell:.4f}" for cell in row)]) + "\n"


def _joint(angles: Angles, name: str, side: Side) -> JointAngles | None:
    return next((one for one in angles.joints if one.joint == name and one.side is side), None)


def _joint_deg(joint: JointAngles | None, width: int, count: int) -> Floats:
    if joint is None:
        return np.full((count, width), np.nan)
    return _known_deg(joint.angle_rad, joint.ok)[:, :width]


def _known_deg(angle_rad: Floats, ok: Bools) -> Floats:
    return np.where(ok, np.degrees(angle_rad), np.nan)
