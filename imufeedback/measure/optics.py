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
import numpy.typing as npt
from scipy.io import loadmat
from scipy.signal import csd
from scipy.spatial.transform import Rotation

from imufeedback.records import Bools, Floats

DELAY_BAND_HZ = (0.3, 8.0)
"""Where people move, and cameras and gyroscopes both see it: below, biases count; above, the cameras' noise. Chosen."""
DELAY_STRETCH_S = 5.0
"""Stretches whose cross spectra are brought together by their median: cameras that lose a rig for a while change
nothing. Chosen."""
COUNT_FROM_S = 10.0
"""``joint3d`` figures count from here on: filters that learn the lever arms have settled."""


@dataclass(frozen=True, slots=True)
class JointTrial:
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
    count_from_s: float = COUNT_FROM_S

    @property
    def counted(self) -> slice:
        """Samples that count."""
        return slice(int(self.count_from_s * self.rate_hz), None)


@dataclass(frozen=True, slots=True)
class Single:
    """One ``broad`` trial."""

    name: str
    rate_hz: float
    gyr: Floats
    acc: Floats
    reference: Rotation
    """(N) sensor → earth; the identity where it is not known."""
    seen: Bools
    """(N) samples of which the cameras know the orientation."""
    counts: Bools
    """(N) samples that count: in motion, and seen by the cameras."""


def pairs(folder: Path) -> list[JointTrial]:
    """All ``joint3d`` trials of a folder, by name."""
    return [_pair(path) for path in sorted(folder.glob("*.mat"))]


def _pair(path: Path) -> JointTrial:
    data = loadmat(path, squeeze_me=True, struct_as_record=False)["data"]
    samples = np.asarray(data.sensorData, dtype=float)
    first, second = (Rotation.from_quat(data.ref[:, i : i + 4], scalar_first=True) for i in (0, 4))
    return JointTrial(
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
            seen,
            seen & np.asarray(data["movement"], dtype=bool),
        )


@dataclass(frozen=True, slots=True)
class Parts:
    """RMS error (deg) of an orientation: all of it, its turn about the vertical, and its tilt; None: has no meaning."""

    total: float | None
    heading: float | None
    inclination: float | None


def delay_s(pair: JointTrial) -> float:
    """How late the sensors' samples are against the reference's stamps, found from the rates: no filter takes part.

    The phase between the gyroscopes' rates and the cameras' (steps of the reference) is a line over the frequency
    whose slope is the delay; fitted by least squares, every frequency weighed by its cross spectrum. Found again with
    the samples moved by as many whole steps as it has: a delay that is long beside a stretch looks shorter.
    """
    whole = 0
    for _ in range(3):
        rest_s = _phase_delay_s(pair, whole)
        whole += round(rest_s * pair.rate_hz)
    return whole / pair.rate_hz + _phase_delay_s(pair, whole)


def _phase_delay_s(pair: JointTrial, whole: int) -> float:
    """Delay that is left with the samples moved by so many steps."""
    spectra: list[npt.NDArray[np.complex128]] = []
    size = min(int(DELAY_STRETCH_S * pair.rate_hz), len(pair.reference) - 1)
    ends = max(whole, 0), max(-whole, 0)
    references = (pair.reference_first, pair.reference_first * pair.reference)
    for gyr, reference in zip(pair.gyr, references, strict=True):
        cameras = (reference[:-1].inv() * reference[1:]).as_rotvec() * pair.rate_hz
        between = 0.5 * (gyr[:-1] + gyr[1:])  # at the same instants: half way between two samples
        n = min(len(cameras), len(between)) - abs(whole)
        for seen, own in zip(cameras[ends[1] :][:n].T, between[ends[0] :][:n].T, strict=True):
            f_hz, spectrum = csd(seen, own, fs=pair.rate_hz, nperseg=size, average="median")
            spectra.append(spectrum)
    used = (f_hz >= DELAY_BAND_HZ[0]) & (f_hz <= DELAY_BAND_HZ[1])
    total, w = np.sum(spectra, axis=0)[used], 2 * np.pi * f_hz[used]
    weight = np.abs(total)
    return float(-(weight * w * np.angle(total)).sum() / (weight * w * w).sum())


def common(a: Rotation, b: Rotation) -> tuple[Rotation, Rotation]:
    """Both as long as the shorter: a method may end a sample before the reference or after it."""
    n = min(len(a), len(b))
    return a[:n], b[:n]


def relative_rmse_deg(relative: Rotation, pair: JointTrial) -> float:
    """Total error of the second sensor's orientation in the first, RMS over the samples that count."""
    found, true = common(relative, pair.reference)
    error = (found.inv() * true).magnitude()[pair.counted]
    return float(np.degrees(np.sqrt(np.mean(error**2))))


def relative_parts(relative: Rotation, pair: JointTrial) -> Parts:
    """The same with its parts about and across the vertical."""
    found, true = common(relative, pair.reference)
    to_earth = pair.reference_first[: len(found)]
    error = to_earth * found * true.inv() * to_earth.inv()
    return _parts(error[pair.counted])


def single_parts(q_es: Rotation, single: Single) -> Parts:
    """Error of one sensor over the samples that count, its heading set once: by the first second that is seen."""
    first = np.flatnonzero(single.seen)[: int(single.rate_hz)]
    aligned = turned(q_es, -_mean_heading(q_es[first] * single.reference[first].inv()))
    return _parts((aligned * single.reference.inv())[single.counts])


def inclination_rmse_deg(q_es: Rotation, single: Single) -> float:
    """RMS of the tilt part of the error in the earth frame (heading left out), over the samples that count."""
    inclination = _parts((q_es * single.reference.inv())[single.counts]).inclination
    assert inclination is not None
    return inclination


def _parts(error: Rotation) -> Parts:
    """Of errors as rotations of the earth: E = (about the vertical) · (about a horizontal axis)."""
    q = error.as_quat(scalar_first=True, canonical=True)
    heading = 2.0 * np.arctan2(q[:, 3], q[:, 0])
    tilt = 2.0 * np.arccos(np.clip(np.hypot(q[:, 0], q[:, 3]), 0.0, 1.0))

    def rms(angle: Floats) -> float:
        return float(np.degrees(np.sqrt(np.mean(angle**2))))

    return Parts(rms(error.magnitude()), rms(heading), rms(tilt))


def first_heading(one: Rotation, two: Rotation, pair: JointTrial) -> float:
    """Turn between the two earths, from the reference of the first second: what zeroing at an address gives."""
    n = int(pair.rate_hz)
    return _mean_heading(one[:n] * pair.reference[:n] * two[:n].inv())


def _mean_heading(turns: Rotation) -> float:
    """The turn about the vertical that comes closest to all of them."""
    q = turns.as_quat(scalar_first=True)
    q = np.where(q[:, :1] < 0, -q, q)
    return float(2.0 * np.arctan2(q[:, 3].sum(), q[:, 0].sum()))


def turned(two: Rotation, heading_rad: Floats | float) -> Rotation:
    """`two` with its earth turned about the vertical, by one angle or by one for every sample."""
    angle = np.broadcast_to(np.asarray(heading_rad, dtype=float), (len(two),))
    vector = np.zeros((len(two), 3))
    vector[:, 2] = angle
    return Rotation.from_rotvec(vector) * two


def best_heading(one: Rotation, two: Rotation, pair: JointTrial) -> Floats:
    """(N,) the turn between the earths that is best at every sample: looks at the answer, so it gives the floor."""
    q = (one * pair.reference * two.inv()).as_quat(scalar_first=True)
    best: Floats = 2.0 * np.arctan2(q[:, 3], q[:, 0])
    return best


def carried(q: Rotation, gyr: Floats, lead_s: float) -> Rotation:
    """Orientations carried on by their present rate."""
    return q * Rotation.from_rotvec(gyr * lead_s)
