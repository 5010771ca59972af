"""The same recordings of people through this tool, and through one plain filter a sensor with the same calibration."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs
from imufeedback.body.joints import JOINTS, Joint
from imufeedback.body.matrices import about_vertical, from_q
from imufeedback.errors import BadFile
from imufeedback.measure.peers import ORIENT
from imufeedback.measure.persons import KINDS, Curves, MethodCurve, TrialFolder
from imufeedback.pipeline import Pipeline
from imufeedback.record.csv_folder import CsvSeries, read_folder
from imufeedback.record.importer import import_folder
from imufeedback.record.replay import read_items
from imufeedback.records import Angles, Event, Fit, Floats, Item, JointAngles, Segment, Side

GAP_STEPS = 1.5
"""Longer steps than so many periods have samples missing in them."""
SAME_S = 1e-4


@dataclass(frozen=True, slots=True)
class OwnAngles:
    """What this tool makes of a trial."""

    curves: Curves
    fit: Fit


def own(trial: TrialFolder, work: Path) -> OwnAngles:
    """Import, calibrate, analyse. Raises BadFile when the calibration is refused."""
    path = work / f"{trial.name}.mcap"
    fit = import_trial(trial, path)
    return OwnAngles(curves(trial, angles_of(read_items(path))), fit)


def import_trial(trial: TrialFolder, path: Path) -> Fit:
    """The trial as a recording. Raises BadFile when the calibration is refused."""
    made = import_folder(trial.folder / "imu", path, still_s=trial.still_s, flex_s=trial.flex_s)
    if made.fit is None:
        raise BadFile("no calibration came of it", where=str(trial.folder), hint="check still_s and flex_s")
    return made.fit


def angles_of(items: Iterable[Item]) -> list[Angles]:
    """All angles of a session."""
    pipeline = Pipeline()
    events: list[Event] = pipeline.feed_many(items) + pipeline.finish()
    return [one for one in events if isinstance(one, Angles)]


def curves(trial: TrialFolder, blocks: list[Angles]) -> Curves:
    """Angles at the reference's instants: nothing is interpolated, an instant without a sample is not shown."""
    out = {}
    for side, kind in trial.reference_deg:
        joint, column = KINDS[kind]
        parts = [one for block in blocks for one in block.joints if (one.joint, one.side) == (joint, side)]
        if parts:
            out[side, kind] = _at(trial.t_s, parts, column)
    return out


def _at(t_s: Floats, parts: list[JointAngles], column: int) -> MethodCurve:
    times = np.concatenate([one.t_s for one in parts])
    angle = np.degrees(np.concatenate([one.angle_rad[:, column] for one in parts]))
    sd = np.degrees(np.concatenate([one.sd_rad[:, column] for one in parts]))
    angle[~np.concatenate([one.ok[:, column] for one in parts])] = np.nan
    right = np.clip(np.searchsorted(times, t_s), 1, len(times) - 1)
    near = np.where(np.abs(times[right - 1] - t_s) <= np.abs(times[right] - t_s), right - 1, right)
    step = float(np.median(np.diff(times)))
    there = np.abs(times[near] - t_s) <= 0.5 * step + SAME_S
    return MethodCurve(np.where(there, angle[near], np.nan), np.where(there, sd[near], np.nan))


def plain(trial: TrialFolder, fit: Fit, name: str = "vqf") -> Curves:
    """One filter a sensor, the same calibration. The heading between neighbours is set once, in standing; a recording
    with gaps begins anew with every stretch without one, its heading set by the first sample's rotation of zero."""
    series = read_folder(trial.folder / "imu")
    q_sb = {one.segment: from_q(one.q_sb) for one in fit.segments}
    times, begins = _common(series)
    orientation = {segment: np.full((len(times), 3, 3), np.nan) for segment in series}
    for begin, end in zip(begins, [*begins[1:], len(times)], strict=True):
        for segment, one in series.items():
            rows = np.searchsorted(one.t_s, times[begin:end] - SAME_S)
            orientation[segment][begin:end] = _oriented(name, one, rows).as_matrix() @ q_sb[segment]
    return _plain_curves(trial, times, begins, orientation)


def _common(series: Mapping[Segment, CsvSeries]) -> tuple[Floats, list[int]]:
    """Instants that all sensors have, and where among them a stretch without a gap begins."""
    times = np.round(next(iter(series.values())).t_s, 6)
    for one in series.values():
        times = np.intersect1d(times, np.round(one.t_s, 6))
    step = float(np.median(np.diff(times)))
    return times, [0, *(np.flatnonzero(np.diff(times) > GAP_STEPS * step) + 1).tolist()]


def _oriented(name: str, one: CsvSeries, rows: np.ndarray) -> Rotation:
    rate_hz = 1.0 / float(np.median(np.diff(one.t_s)))
    return ORIENT[name](one.gyr_rad_s[rows], one.acc_m_s2[rows], rate_hz)


def _plain_curves(
    trial: TrialFolder, times: Floats, begins: list[int], orientation: Mapping[Segment, Floats]
) -> dict[tuple[Side, str], MethodCurve]:
    out = {}
    near = np.clip(np.searchsorted(times, trial.t_s - SAME_S), 0, len(times) - 1)
    there = np.abs(times[near] - trial.t_s) <= 10 * SAME_S
    for joint in JOINTS:
        if joint.proximal not in orientation or joint.distal not in orientation:
            continue
        angle = _joint(trial, joint, times, begins, orientation)
        for kind, (name, column) in KINDS.items():
            if name == joint.name:
                values = np.degrees(angle[:, column])
                out[joint.side, kind] = MethodCurve(np.where(there, values[near], np.nan))
    return out


def _joint(
    trial: TrialFolder, joint: Joint, times: Floats, begins: list[int], orientation: Mapping[Segment, Floats]
) -> Floats:
    """(N, 3) angles."""
    above, below = orientation[joint.proximal], orientation[joint.distal]
    turns = np.empty_like(above)
    standing = int(np.searchsorted(times, sum(trial.still_s) / 2))
    for begin, end in zip(begins, [*begins[1:], len(times)], strict=True):
        at = standing if begin <= standing < end else begin
        turn = about_vertical(jcs.rotation_free_heading(above[at], below[at]))
        turns[begin:end] = np.swapaxes(above[begin:end], -1, -2) @ turn @ below[begin:end]
    angle: Floats = jcs.angles(turns) * jcs.signs(joint.name, joint.side)
    return angle
