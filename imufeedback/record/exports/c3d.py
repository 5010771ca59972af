"""Angles as C3D, the open format of movement laboratories: points of type "angle", and the marks of the reps as events.

Component X, Y, Z of a hip's point are flexion, adduction and internal rotation; of the pelvis turn, side tilt and
forward tilt. A frame in which an angle is not known has residual -1, as the format asks. Of a knee only flexion is
known: it is an analog channel and no point, which would need two more components.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.record.exports import ExportSource, needs
from imufeedback.record.files import part_file
from imufeedback.record.table import JOINT_COLUMNS, PELVIS_COLUMNS
from imufeedback.records import Floats, Side

FRAMES_MAX = 65_535
"""Largest number of frames that every reader understands: the header holds 16 bits."""


def write(source: ExportSource, out: Path) -> str:
    try:
        import ezc3d
    except ImportError:
        raise needs("ezc3d") from None
    part = source.trace.stretch(source.from_s, source.to_s)
    if not len(part.t_s):
        raise UsageError("there are no angles in this stretch", hint="choose another one")
    frames = np.rint((part.t_s - part.t_s[0]) * source.grid_hz).astype(np.int64)
    if frames[-1] >= FRAMES_MAX:
        longest_s = FRAMES_MAX / source.grid_hz
        raise UsageError(f"C3D holds {longest_s:.0f} s at this rate", hint="choose a stretch with --from and --to")
    labels = _labels(part.columns)
    points = np.full((4, len(labels), int(frames[-1]) + 1), np.nan)
    points[3] = 1.0
    for number, names in enumerate(labels.values()):
        for axis in range(3):
            points[axis, number, frames] = part.angle(names[axis])
    knees = [f"{side.value}_knee_flexion_deg" for side in Side if f"{side.value}_knee_flexion_deg" in part.columns]
    channels = np.full((1, len(knees), points.shape[2]), np.nan)
    for number, name in enumerate(knees):
        channels[0, number, frames] = part.angle(name)
    file = ezc3d.c3d()
    file["parameters"]["POINT"]["RATE"]["value"] = [source.grid_hz]
    file["parameters"]["POINT"]["LABELS"]["value"] = list(labels)
    file["parameters"]["POINT"]["UNITS"]["value"] = ["deg"]
    file.add_parameter("POINT", "ANGLES", list(labels))
    file.add_parameter("POINT", "ANGLE_UNITS", ["deg"])
    if knees:
        file["parameters"]["ANALOG"]["RATE"]["value"] = [source.grid_hz]
        file["parameters"]["ANALOG"]["LABELS"]["value"] = [name.removesuffix("_deg") for name in knees]
        file["parameters"]["ANALOG"]["UNITS"]["value"] = ["deg"] * len(knees)
        file["data"]["analogs"] = channels
    _add_events(file, source, float(part.t_s[0]), float(part.t_s[-1]))
    file["data"]["points"] = points
    with part_file(out, ".c3d") as made:
        file.write(os.fspath(made))
    return f"{points.shape[2]} frames of {', '.join([*labels, *knees])}"


def _labels(columns: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Name of every point, and the columns that are its components."""
    out: dict[str, tuple[str, ...]] = {"pelvis_angle": PELVIS_COLUMNS}
    for side in Side:
        wanted = tuple(f"{side.value}_hip_{name}" for name in JOINT_COLUMNS["hip"])
        if wanted[0] in columns:
            out[f"{side.value}_hip_angle"] = wanted
    return out


def _add_events(file: object, source: ExportSource, from_s: float, to_s: float) -> None:
    found = sorted(
        (at_s, name.removesuffix("_s"))
        for rep in source.summary.reps
        if not rep.void
        for name, at_s in rep.positions.items()
        if from_s <= at_s <= to_s
    )
    if not found:
        return
    times: Floats = np.array(
        [[(at_s - from_s) // 60 for at_s, _ in found], [(at_s - from_s) % 60 for at_s, _ in found]]
    )
    add = file.add_parameter  # type: ignore[attr-defined]  # ezc3d carries no types
    add("EVENT", "USED", [len(found)])
    add("EVENT", "CONTEXTS", ["General"] * len(found))
    add("EVENT", "LABELS", [name for _, name in found])
    add("EVENT", "TIMES", times)
