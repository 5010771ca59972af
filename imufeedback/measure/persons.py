"""Recordings of people whose hip and knee angles another system measured too: reading them, errors against it.

Every folder of ``DATA/people/`` is a trial: ``imu/`` goes to ``import``, ``reference.csv`` holds the other system's
angles in degrees (optical markers, or video), and ``trial.json`` says which stretches are for the calibration and which
count. References of different systems do not share a zero, so errors count after the mean is removed.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imufeedback.errors import BadFile
from imufeedback.records import Bools, Floats, Side

FOLDER = "people"
KINDS = {"flexion": ("hip", 0), "adduction": ("hip", 1), "rotation": ("hip", 2), "knee": ("knee", 0)}
"""Kind of angle → joint, column of its angles."""
_COLUMNS = {
    "flexion": "hip_flexion_deg",
    "adduction": "hip_adduction_deg",
    "rotation": "hip_internal_rotation_deg",
    "knee": "knee_flexion_deg",
}
FEWEST = 20
"""Samples of an angle below which nothing is said about it."""


@dataclass(frozen=True, slots=True)
class TrialFolder:
    """One folder."""

    name: str
    folder: Path
    still_s: tuple[float, float]
    flex_s: tuple[float, float]
    judged_s: tuple[tuple[float, float], ...]
    """Stretches that count, in the sensors' time."""
    gaps: bool
    """Samples are missing between the stretches."""
    t_s: Floats
    """(N,) of the reference, in the sensors' time."""
    reference_deg: Mapping[tuple[Side, str], Floats]
    """(N,) by side and kind."""

    @property
    def counts(self) -> Bools:
        """(N,) samples of the reference that count."""
        inside = np.zeros(len(self.t_s), dtype=bool)
        for begin, end in self.judged_s:
            inside |= (self.t_s >= begin) & (self.t_s <= end)
        return inside

    @property
    def repetition(self) -> np.ndarray:
        """(N,) number of the stretch that a sample belongs to; -1 outside."""
        number = np.full(len(self.t_s), -1)
        for k, (begin, end) in enumerate(self.judged_s):
            number[(self.t_s >= begin) & (self.t_s <= end)] = k
        return number


@dataclass(frozen=True, slots=True)
class MethodCurve:
    """What a method says of one angle, at the reference's instants."""

    angle_deg: Floats
    """(N,) NaN where it is not shown."""
    sd_deg: Floats | None = None
    """(N,) one standard deviation; None for a method that tells none."""


Curves = Mapping[tuple[Side, str], MethodCurve]


@dataclass(frozen=True, slots=True)
class Score:
    """One angle of one method against the reference; degrees."""

    rmse: float
    centred: float
    """After the mean is removed."""
    r: float
    excursion: float
    """Range (2nd to 98th percentile) over the reference's."""
    within: tuple[float, float] | None
    """Share of the shown samples within one and two standard deviations, mean removed."""
    ok_share: float


def trials(data: Path) -> Iterator[TrialFolder]:
    """All trials below a data folder, by name. Raises BadFile for a folder that does not hold what it should."""
    for folder in sorted((data / FOLDER).iterdir()):
        if (folder / "trial.json").is_file():
            yield trial(folder)


def trial(folder: Path) -> TrialFolder:
    """One folder. Raises BadFile."""
    try:
        said = json.loads((folder / "trial.json").read_text("utf-8"))
        table = np.genfromtxt(folder / "reference.csv", delimiter=",", names=True)
        reference = {
            (side, kind): np.asarray(table[f"{side}_{column}"], dtype=float)
            for side in Side
            for kind, column in _COLUMNS.items()
            if f"{side}_{column}" in (table.dtype.names or ())
        }
        return TrialFolder(
            folder.name,
            folder,
            _window(said["still_s"]),
            _window(said["flex_s"]),
            tuple(_window(one) for one in said["judge_s"]),
            bool(said.get("gaps", False)),
            np.asarray(table["time_s"], dtype=float) + float(said.get("reference_delay_s", 0.0)),
            reference,
        )
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise BadFile(
            f"no trial can be read: {error}", where=str(folder), hint="it needs imu/, reference.csv and trial.json"
        ) from None


def _window(values: list[float]) -> tuple[float, float]:
    begin, end = values
    return float(begin), float(end)


def score(
    trial: TrialFolder, key: tuple[Side, str], curve: MethodCurve, shown: Bools, *, by_repetition: bool = False
) -> Score:
    """A method's curve over the samples that count and that are `shown` (N,). With `by_repetition` the mean of every
    stretch is removed, else that of all."""
    reference, counts = trial.reference_deg[key], trial.counts
    known = counts & shown & np.isfinite(curve.angle_deg) & np.isfinite(reference)
    share = float(np.count_nonzero(known)) / max(int(np.count_nonzero(counts & np.isfinite(reference))), 1)
    if np.count_nonzero(known) < FEWEST:
        nan = float("nan")
        return Score(nan, nan, nan, nan, None, share)
    error = (curve.angle_deg - reference)[known]
    centred = error - _means(error, trial.repetition[known] if by_repetition else np.zeros(len(error)))
    return Score(
        _rms(error),
        _rms(centred),
        float(np.corrcoef(curve.angle_deg[known], reference[known])[0, 1]),
        _range(curve.angle_deg[known]) / max(_range(reference[known]), 1e-9),
        None if curve.sd_deg is None else _within(error - error.mean(), curve.sd_deg[known]),
        share,
    )


def _within(error: Floats, sd: Floats) -> tuple[float, float]:
    return float(np.mean(np.abs(error) <= sd)), float(np.mean(np.abs(error) <= 2 * sd))


def _means(values: Floats, group: np.ndarray) -> Floats:
    """(N,) mean of each value's group."""
    _, place = np.unique(group, return_inverse=True)
    means: Floats = np.bincount(place, values) / np.bincount(place)
    return means[place]


def _rms(values: Floats) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _range(values: Floats) -> float:
    low, high = np.percentile(values, [2.0, 98.0])
    return float(high - low)
