"""Recordings with an optical reference: reading them, and errors against it.

``joint3d``: two segments on a ball joint, one sensor on each, 50 Hz (repository of the library dfjimu, after Weygers &
Kok, IEEE Sensors J 2020;20:7969-79, doi 10.1109/JSEN.2020.2982459). ``broad``: one rigid sensor at 286 Hz (Laidig,
Caruso, Cereatti & Seel, Data 2021;6(7):72, doi 10.3390/data6070072).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.io import loadmat
from scipy.spatial.transform import Rotation

from imufeedback.records import Bools, Floats

COUNT_FROM_S = 10.0
"""``joint3d`` figures count from here on: filters that learn the lever arms have settled."""


@dataclass(frozen=True, slots=True)
class Pair:
    """One ``joint3d`` trial."""

    name: str
    rate_hz: float
    gyr: tuple[Floats, Floats]
    """(N, 3) rad/s of each sensor."""
    acc: tuple[Floats, Floats]
    reference: Rotation
    """(N) second sensor → first sensor."""
    reference_first: Rotation
    """(N) first sensor → earth."""


@dataclass(frozen=True, slots=True)
class Single:
    """One ``broad`` trial."""

    name: str
    rate_hz: float
    gyr: Floats
    acc: Floats
    reference: Rotation
    """(N) sensor → earth; the identity where it is not known."""
    counts: Bools
    """(N) samples that count: in motion, and seen by the cameras."""


def pairs(folder: Path) -> list[Pair]:
    """All ``joint3d`` trials of a folder, by name."""
    return [_pair(path) for path in sorted(folder.glob("*.mat"))]


def _pair(path: Path) -> Pair:
    data = loadmat(path, squeeze_me=True, struct_as_record=False)["data"]
    samples = np.asarray(data.sensorData, dtype=float)
    first, second = (Rotation.from_quat(data.ref[:, i : i + 4], scalar_first=True) for i in (0, 4))
    return Pair(
        path.stem,
        float(data.rate),
        (samples[:, 3:6].copy(), samples[:, 9:12].copy()),
        (samples[:, 0:3].copy(), samples[:, 6:9].copy()),
        first.inv() * second,
        first,
    )


def singles(folder: Path) -> Iterable[Single]:
    """All ``broad`` trials of a folder, by name, one in memory at a time."""
    for path in sorted(folder.glob("*.mat")):
        data = loadmat(path, squeeze_me=True)
        q = np.asarray(data["opt_quat"], dtype=float)
        seen = np.isfinite(q).all(axis=1)
        q[~seen] = (1.0, 0.0, 0.0, 0.0)
        yield Single(
            path.stem,
            float(data["sampling_rate"]),
            np.ascontiguousarray(data["imu_gyr"], dtype=float),
            np.ascontiguousarray(data["imu_acc"], dtype=float),
            Rotation.from_quat(q, scalar_first=True),
            seen & np.asarray(data["movement"], dtype=bool),
        )


def relative_rmse_deg(relative: Rotation, pair: Pair) -> float:
    """Total error of the second sensor's orientation in the first, RMS from `COUNT_FROM_S` on."""
    error = (relative.inv() * pair.reference).magnitude()[int(COUNT_FROM_S * pair.rate_hz) :]
    return float(np.degrees(np.sqrt(np.mean(error**2))))


def inclination_rmse_deg(q_es: Rotation, single: Single) -> float:
    """RMS of the tilt part of the error in the earth frame (heading left out), over the samples that count."""
    error = (q_es * single.reference.inv()).as_quat(scalar_first=True)
    tilt = 2.0 * np.arccos(np.clip(np.hypot(error[:, 0], error[:, 3]), 0.0, 1.0))
    return float(np.degrees(np.sqrt(np.mean(tilt[single.counts] ** 2))))


def first_heading(one: Rotation, two: Rotation, pair: Pair) -> float:
    """Turn between the two earths, from the reference of the first second: what zeroing at an address gives."""
    n = int(pair.rate_hz)
    q = (one[:n] * pair.reference[:n] * two[:n].inv()).as_quat(scalar_first=True)
    q = np.where(q[:, :1] < 0, -q, q)
    return float(2.0 * np.arctan2(q[:, 3].sum(), q[:, 0].sum()))


def turned(two: Rotation, heading_rad: Floats | float) -> Rotation:
    """`two` with its earth turned about the vertical, by one angle or by one for every sample."""
    angle = np.broadcast_to(np.asarray(heading_rad, dtype=float), (len(two),))
    vector = np.zeros((len(two), 3))
    vector[:, 2] = angle
    return Rotation.from_rotvec(vector) * two


def best_heading(one: Rotation, two: Rotation, pair: Pair) -> Floats:
    """(N,) the turn between the earths that is best at every sample: looks at the answer, so it gives the floor."""
    q = (one * pair.reference * two.inv()).as_quat(scalar_first=True)
    best: Floats = 2.0 * np.arctan2(q[:, 3], q[:, 0])
    return best


def carried(q: Rotation, gyr: Floats, lead_s: float) -> Rotation:
    """Orientations carried on by their present rate."""
    return q * Rotation.from_rotvec(gyr * lead_s)
