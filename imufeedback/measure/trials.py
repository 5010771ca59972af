"""Recordings of people that say of themselves whether a fit is right: ``human_walk``, and the folders of ``people/``.

Each goes through this package's own fusion and merge, and is fitted as ``import`` does. What a fit comes to is judged
without this package: the tilts of the segments come from the offline filter of VQF, of each stretch without gaps by
itself, the hip flexion from the reference.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation
from vqf import offlineVQF

from imufeedback.body import Body
from imufeedback.commands import Asked, FitWindows
from imufeedback.fusion import Fusion
from imufeedback.measure import persons, walk
from imufeedback.record.csv_folder import CsvSeries, read_folder
from imufeedback.records import (
    AlignedBlock,
    Fit,
    FitRefused,
    Fitted,
    Floats,
    Hand,
    ImuBlock,
    OrientationBlock,
    Segment,
    Side,
    frozen,
)
from imufeedback.timing import Merger

Window = tuple[float, float]
AFTER_S = 1.0
"""``import`` fits when it has read so much beyond the window."""
FLEXED_DEG = 30.0
"""Of hip flexion: a window that holds such a movement should do for a fit; such a pose shows whether it is right."""
SITTING_DEG = 57.0
"""``human_walk`` has no reference; sitting, by an independent estimate: 56 to 58."""
PACKET = 4
GAP_STEPS = 1.5
LEAST_PIECE_S = 0.5
"""A shorter stretch without gaps does not show a tilt."""
POSED_S = 0.2
"""Of flexed samples in a stretch that shows a pose."""


class RecordedTrial(ABC):
    """One recording."""

    def __init__(self, name: str, imu: Path, still_s: Window, stretches: Sequence[Window]) -> None:
        self.name, self.still_s, self.stretches = name, still_s, stretches
        self.series = read_folder(imu)
        t_s = self.series[Segment.PELVIS].t_s
        self.rate_hz = round(1.0 / float(np.median(np.diff(t_s))), 3)
        self.begin_s, self.end_s = float(t_s[0]), float(t_s[-1])

    @abstractmethod
    def reference_deg(self, side: Side) -> tuple[Floats, Floats]:
        """Times (N,) and hip flexion (N,) away from standing."""

    @cached_property
    def blocks(self) -> list[AlignedBlock]:
        """All samples, through fusion and merge."""
        rate = self.rate_hz
        merger = Merger([(str(one), one) for one in self.series], grid_hz=rate)
        arrivals: list[tuple[float, OrientationBlock]] = []
        for one in self.series.values():
            fusion = Fusion(str(one.segment), period_s=1.0 / rate)
            arrivals += [(float(made.t_s[-1]), made) for block in _blocks(one, rate) for made in fusion.feed(block)]
        arrivals.sort(key=lambda one: one[0])
        return [block for _, one in arrivals for block in merger.feed(one)] + merger.finish()

    @cached_property
    def tilts(self) -> Mapping[Segment, Tilt]:
        return {one: Tilt.of(self.series[one], self.rate_hz) for one in self.series}

    def fitted(self, flex_s: Window) -> Fit | str:
        """The fit, or why it is refused."""
        body = Body(list(self.series), hand=Hand.RIGHT, grid_hz=self.rate_hz)
        until_s = max(self.still_s[1], flex_s[1]) + AFTER_S
        for block in self.blocks:
            if block.t_s[0] < until_s:
                body.feed(block)
        for event in body.feed(Asked(until_s, FitWindows(self.still_s, flex_s))):
            if isinstance(event, Fitted):
                return event.fit
            if isinstance(event, FitRefused):
                return event.reason
        return "nothing came of it"

    def flexes(self, window_s: Window) -> bool:
        """Whether the hip of a side moves by so much within the window, in samples that are there."""
        return max(self._range_deg(side, window_s) for side in Side) >= FLEXED_DEG

    def _range_deg(self, side: Side, window_s: Window) -> float:
        t_s, flexion = self.reference_deg(side)
        inside = flexion[(t_s >= window_s[0]) & (t_s < window_s[1])]
        return float(np.ptp(inside)) if len(inside) else 0.0

    def error_deg(self, fit: Fit) -> float:
        """Worst over sides and gap-free stretches: median error of hip flexion while the hip is flexed."""
        q_sb = {one.segment: one.q_sb for one in fit.segments}
        pelvis = self.tilts[Segment.PELVIS].about_z(q_sb[Segment.PELVIS])
        errors = []
        for side in Side:
            tilt = self.tilts[Segment.thigh(side)]
            flexion = np.degrees(tilt.about_z(q_sb[Segment.thigh(side)]) - pelvis)
            flexion = (flexion + 180.0) % 360.0 - 180.0
            t_s, true = self.reference_deg(side)
            true = np.interp(tilt.t_s, t_s, true)
            least = min(FLEXED_DEG, 0.8 * float(true.max()))
            for piece in tilt.pieces:
                flexed = true[piece] >= least
                if flexed.sum() >= POSED_S * self.rate_hz:
                    errors.append(abs(float(np.median((flexion[piece] - true[piece])[flexed]))))
        return max(errors, default=float("nan"))


class PersonTrial(RecordedTrial):
    """A folder of ``people/``."""

    def __init__(self, folder: Path) -> None:
        self._said = persons.trial(folder)
        stretches = [self._said.flex_s, *self._said.judged_s]
        super().__init__(folder.name, folder / "imu", self._said.still_s, stretches)

    def reference_deg(self, side: Side) -> tuple[Floats, Floats]:
        t_s, flexion = self._said.t_s, self._said.reference_deg[side, "flexion"]
        still = (t_s >= self.still_s[0]) & (t_s < self.still_s[1])
        return t_s, flexion - float(np.nanmean(flexion[still]))


class Walker(RecordedTrial):
    """``human_walk``: hip flexion is known while the person sits; while they walk, the thigh's inclination says whether
    it moves."""

    def __init__(self, folder: Path) -> None:
        super().__init__(walk.FOLDER, folder, walk.STILL_S, [walk.FLEX_S, (76.0, 82.0), (78.5, 81.0), (70.0, 85.0)])

    def reference_deg(self, side: Side) -> tuple[Floats, Floats]:
        t_s = self.tilts[Segment.thigh(side)].t_s
        return t_s, np.where((t_s >= walk.SITTING_S[0]) & (t_s <= walk.SITTING_S[1]), SITTING_DEG, 0.0)

    def _range_deg(self, side: Side, window_s: Window) -> float:
        tilt = self.tilts[Segment.thigh(side)]
        inside = (tilt.t_s >= window_s[0]) & (tilt.t_s < window_s[1])
        still = (tilt.t_s >= self.still_s[0]) & (tilt.t_s < self.still_s[1])
        up = tilt.up_s[still].mean(axis=0)
        away = np.degrees(np.arccos(np.clip(tilt.up_s[inside] @ up / np.linalg.norm(up), -1.0, 1.0)))
        return float(np.ptp(away)) if len(away) else 0.0


@dataclass(frozen=True, slots=True)
class Tilt:
    """Where up is in one sensor, by a filter that looks forth and back."""

    t_s: Floats
    up_s: Floats
    """(N, 3)"""
    pieces: tuple[slice, ...]
    """Without gaps."""

    @classmethod
    def of(cls, one: CsvSeries, rate_hz: float) -> Tilt:
        cuts = [0, *(np.flatnonzero(np.diff(one.t_s) > GAP_STEPS / rate_hz) + 1).tolist(), len(one.t_s)]
        pieces = tuple(slice(a, b) for a, b in pairwise(cuts) if b - a > LEAST_PIECE_S * rate_hz)
        up = np.full((len(one.t_s), 3), np.nan)
        for piece in pieces:
            gyr, acc = (np.ascontiguousarray(each[piece]) for each in (one.gyr_rad_s, one.acc_m_s2))
            q = offlineVQF(gyr, acc, None, 1.0 / rate_hz)["quat6D"]
            up[piece] = Rotation.from_quat(q, scalar_first=True).as_matrix()[:, 2]
        return cls(one.t_s, up, pieces)

    def about_z(self, q_sb: Floats) -> Floats:
        """(N,) rad by which the segment is tipped backward about its z; hip flexion is thigh's less pelvis'."""
        up_b = self.up_s @ Rotation.from_quat(q_sb, scalar_first=True).as_matrix()
        tilt: Floats = np.arctan2(up_b[:, 0], up_b[:, 1])
        return tilt


def trials(data: Path) -> list[RecordedTrial]:
    """All recordings in the folder."""
    people = sorted(one.parent for one in (data / "people").glob("*/trial.json"))
    found: list[RecordedTrial] = [PersonTrial(one) for one in people]
    return found + ([Walker(data / walk.FOLDER)] if (data / walk.FOLDER).is_dir() else [])


def _blocks(one: CsvSeries, rate_hz: float) -> Iterator[ImuBlock]:
    """Packets as a sensor sends them; the step of a sample after a gap spans it."""
    steps = np.diff(one.t_s, prepend=one.t_s[0] - 1.0 / rate_hz)
    for begin in range(0, len(one.t_s), PACKET):
        part = slice(begin, begin + PACKET)
        t_s, step_s, gyr, acc = (frozen(each[part]) for each in (one.t_s, steps, one.gyr_rad_s, one.acc_m_s2))
        yield ImuBlock(str(one.segment), t_s, step_s, gyr, acc, np.zeros(len(t_s), dtype=np.uint8))
