"""Fits by many windows of real recordings: none that is accepted may be wrong, few that hold a movement be refused.

Every folder in the form of ``people/`` (``imu/``, ``trial.json``, ``reference.csv``) and ``human_walk`` goes through
this package's own fusion and merge; every window is then fitted as ``import --flex`` does, with what was recorded up to
a second after it. What a fit came to is judged without this package: the tilts of the segments come from the offline
filter of VQF, of each stretch without gaps by itself, the hip flexion from the reference. The windows are regular ones,
the stretches that a trial names, and seeded random ones: nobody has looked at those before.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation
from vqf import offlineVQF

from imufeedback.body import Body
from imufeedback.fusion import Fusion
from imufeedback.record.csv_folder import CsvSeries, read_folder
from imufeedback.records import (
    AlignedBlock,
    Command,
    Fit,
    FitRefused,
    Fitted,
    Floats,
    Hand,
    ImuBlock,
    Level,
    OrientationBlock,
    Segment,
    Side,
    frozen,
)
from imufeedback.timing import Merger
from imufeedback.validate import walk
from imufeedback.validate.checks import Context, LeftOut, Measured, Step, at_most

Window = tuple[float, float]
AFTER_S = 1.0
"""``import`` fits when it has read so much beyond the window."""
FLEXED_DEG = 30.0
"""Of hip flexion: a window that holds such a movement should do for a fit; such a pose shows whether it is right."""
WRONG_DEG = 25.0
SITTING_DEG = 57.0
"""``human_walk`` has no reference; sitting, by an independent estimate: 56 to 58."""
PACKET = 4
GAP_STEPS = 1.5
LENGTHS_S = (2.0, 4.0, 8.0)
RANDOM_S = (1.2, 12.0)
"""Shortest and longest random window; their logarithm is even."""
RANDOM_WINDOWS = 150
LEAST_PIECE_S = 0.5
"""A shorter stretch without gaps does not show a tilt."""


@dataclass(frozen=True, slots=True)
class Outcome:
    """One window."""

    trial: str
    window_s: Window
    flexed: bool
    """It holds a flexion movement."""
    fit: Fit | None
    refused: str | None
    error_deg: float
    """Worst error of hip flexion in flexed poses, of both sides; nan when there is no fit."""

    @property
    def accepted(self) -> bool:
        return self.fit is not None and self.fit.level is not Level.POOR

    @property
    def wrong(self) -> bool:
        return self.accepted and not self.error_deg <= WRONG_DEG


class Trial:
    """One recording."""

    def __init__(self, name: str, imu: Path, still_s: Window, stretches: Sequence[Window]) -> None:
        self.name, self.still_s, self.stretches = name, still_s, stretches
        self.series = read_folder(imu)
        t_s = self.series[Segment.PELVIS].t_s
        self.rate_hz = round(1.0 / float(np.median(np.diff(t_s))), 3)
        self.begin_s, self.end_s = float(t_s[0]), float(t_s[-1])

    def reference_deg(self, side: Side) -> tuple[Floats, Floats]:
        """Times (N,) and hip flexion (N,) away from standing."""
        raise NotImplementedError

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
        body = Body(list(self.series), hand=Hand.RIGHT, grid_hz=self.rate_hz, origin_ns=0)
        until_s = max(self.still_s[1], flex_s[1]) + AFTER_S
        for block in self.blocks:
            if block.t_s[0] < until_s:
                body.feed(block)
        for event in body.feed(Command(round(until_s * 1e9), "fit", {"still": self.still_s, "flex": flex_s})):
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
                if flexed.sum() >= 0.2 * self.rate_hz:
                    errors.append(abs(float(np.median((flexion[piece] - true[piece])[flexed]))))
        return max(errors, default=float("nan"))

    def outcome(self, window_s: Window) -> Outcome:
        made = self.fitted(window_s)
        if isinstance(made, str):
            return Outcome(self.name, window_s, self.flexes(window_s), None, made, float("nan"))
        return Outcome(self.name, window_s, self.flexes(window_s), made, None, self.error_deg(made))


class Person(Trial):
    """A folder of ``people/``."""

    def __init__(self, folder: Path) -> None:
        told = json.loads((folder / "trial.json").read_text())
        stretches = [tuple(one) for one in [told["flex_s"], *told["judge_s"]]]
        super().__init__(folder.name, folder / "imu", tuple(told["still_s"]), stretches)
        self._table = np.genfromtxt(folder / "reference.csv", delimiter=",", names=True)
        self._t_s: Floats = self._table["time_s"] + told.get("reference_delay_s", 0.0)

    def reference_deg(self, side: Side) -> tuple[Floats, Floats]:
        flexion = self._table[f"{side}_hip_flexion_deg"]
        still = (self._t_s >= self.still_s[0]) & (self._t_s < self.still_s[1])
        return self._t_s, flexion - float(np.nanmean(flexion[still]))


class Walker(Trial):
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


def trials(data: Path) -> list[Trial]:
    """All recordings in the folder."""
    people = sorted(one.parent for one in (data / "people").glob("*/trial.json"))
    found: list[Trial] = [Person(one) for one in people]
    return found + ([Walker(data / walk.FOLDER)] if (data / walk.FOLDER).is_dir() else [])


def regular(trial: Trial, every: int = 1) -> list[Window]:
    """The stretches that the trial names, and windows of some lengths one after the other."""
    first = trial.still_s[1]
    out = list(trial.stretches)
    for length_s in LENGTHS_S:
        begins = np.arange(first, trial.end_s - length_s, max(length_s, (trial.end_s - first) / 8))
        out += [(float(begin), float(begin) + length_s) for begin in begins]
    return out[::every]


def at_random(trial: Trial, count: int, rng: np.random.Generator) -> list[Window]:
    """Windows after standing; what lies wholly in a gap holds no sample and is not drawn."""
    out: list[Window] = []
    while len(out) < count:
        length_s = float(np.exp(rng.uniform(*np.log(RANDOM_S))))
        begin_s = float(rng.uniform(trial.still_s[1], trial.end_s - 1.0))
        window = round(begin_s, 2), round(min(begin_s + length_s, trial.end_s), 2)
        t_s = trial.series[Segment.PELVIS].t_s
        if ((t_s >= window[0]) & (t_s < window[1])).sum() >= trial.rate_hz:
            out.append(window)
    return out


def outcomes(context: Context) -> Iterator[Outcome]:
    """Every window of every recording."""
    if context.data is None or not (found := trials(context.data)):
        raise LeftOut("no recordings of people are here; name their folder with --data")
    rng = np.random.default_rng([context.seed, 31])
    count = -(-(RANDOM_WINDOWS // 5 if context.quick else RANDOM_WINDOWS) // len(found))
    for trial in found:
        windows = regular(trial, 3 if context.quick else 1) + at_random(trial, count, rng)
        context.say(f"{trial.name}: {len(windows)} windows")
        yield from (trial.outcome(one) for one in windows)


def sweep(context: Context) -> Iterator[Measured]:
    """Lines: fits that are accepted and wrong, windows with a movement that are refused."""
    seen = list(outcomes(context))
    for one in seen:
        context.rows.append(
            {
                "set": "windows",
                "trial": one.trial,
                "from_s": one.window_s[0],
                "to_s": one.window_s[1],
                "flexed": one.flexed,
                "level": None if one.fit is None else str(one.fit.level),
                "refused": one.refused,
                "error_deg": None if one.error_deg != one.error_deg else one.error_deg,
            }
        )
    yield from lines(seen)


def lines(seen: Sequence[Outcome]) -> Iterator[Measured]:
    flexed = [one for one in seen if one.flexed]
    share = 100 * sum(not one.accepted for one in flexed) / len(flexed) if flexed else float("nan")
    accepted = sum(one.accepted for one in seen)
    wrong = sum(one.wrong for one in seen)
    yield Measured(f"{len(seen)} windows, {accepted} accepted: wrong and accepted", wrong, at_most(0), "fits")
    yield Measured(f"{len(flexed)} windows with 30° of flexion: refused", share, at_most(10), "%")


STEP = Step("fits by windows of people", sweep)


def _blocks(one: CsvSeries, rate_hz: float) -> Iterator[ImuBlock]:
    """Packets as a sensor sends them; the step of a sample after a gap spans it."""
    steps = np.diff(one.t_s, prepend=one.t_s[0] - 1.0 / rate_hz)
    for begin in range(0, len(one.t_s), PACKET):
        part = slice(begin, begin + PACKET)
        t_s, step_s, gyr, acc = (frozen(each[part]) for each in (one.t_s, steps, one.gyr_rad_s, one.acc_m_s2))
        yield ImuBlock(str(one.segment), t_s, step_s, gyr, acc, np.zeros(len(t_s), dtype=np.uint8))
