"""Axes, signs and units that are wrong: found and named, and no true sensor accused.

Each of the 47 wrong maps of a gyroscope's axes and each wrong unit, at each sensor, in two turns by hand and in the
calibration movements of seeded players; the same on all recordings of people; and one accelerometer inverted among
several. What a wrong map would have told follows from the evidence of the true one, in another order, so that each
stretch is looked at once.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from pathlib import Path

import numpy as np

from imufeedback.body import axes
from imufeedback.body.axes import AxisEvidence
from imufeedback.body.carried import OVERLAP, TRUE, carried, left_over, maps
from imufeedback.body.suspects import Samples, inverted
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.fitters import LOOKED_AT_ITEMS, performance
from imufeedback.measure.miswired import UNITS, by_hand, mapped, rewired, worn
from imufeedback.measure.miswired import inverted as with_inverted
from imufeedback.measure.optics import pairs as joint3d
from imufeedback.measure.optics import singles as broad
from imufeedback.pipeline import Pipeline
from imufeedback.record.csv_folder import read_folder
from imufeedback.records import FitRefused, Fitted, Floats, Level, RawPacket, Segment, SwapOffered
from imufeedback.synth.sensors import WORN

WRONG = tuple(k for k in range(48) if k != TRUE)
ENOUGH = 2.0
"""Whether a motion allows a judgement: so many whole windows without a gap in which the sensor turned and that some map
explains."""
FAMILIES = ("human_walk", "people", "joint3d", "broad")


@dataclass
class AxisTally:
    """What came of one sensor after the other."""

    sensors: int = 0
    judged: int = 0
    """Sensors whose motion allows a judgement (`ENOUGH`)."""
    judged_found: int = 0
    """Wrong maps found in those."""
    accused: list[str] = field(default_factory=list)
    """True sensors that were told to be wrong."""
    maps: int = 0
    found: int = 0
    named: int = 0
    """… with exactly the axes and signs that are wrong."""
    trusted: int = 0
    """Wrong ones that were called right."""
    units: Counter[str] = field(default_factory=Counter)
    units_found: Counter[str] = field(default_factory=Counter)

    def add(self, name: str, samples: Samples) -> None:
        """A true sensor: as it is, with every map and with every unit."""
        self.sensors += 1
        seen = axes.evidence(*samples)
        true = axes.units(samples[0], samples[2]) or seen.verdict()
        if true.wrong:
            self.accused.append(f"{name}: {true}")
        verdicts = {k: AxisEvidence(seen.windows, seen.left[_ORDER[k]], seen.scaled).verdict() for k in WRONG}
        found = {k for k, verdict in verdicts.items() if verdict.wrong}
        stretch = carried(*samples)
        if stretch is not None and len(left_over(stretch, axes.WINDOWS_S[0])[0]) >= ENOUGH * OVERLAP:
            self.judged += 1
            self.judged_found += len(found)
        self.maps += len(WRONG)
        self.found += len(found)
        self.named += sum(verdicts[k].axes == axes.words(maps()[k].T) for k in WRONG)
        self.trusted += sum(verdict.kind == "fine" for verdict in verdicts.values())
        for unit, change in UNITS.items():
            self.units[unit] += 1
            self.units_found[unit] += axes.judge(*change(samples)).kind == "units"

    def lines(self, of: str, least: float | None) -> Iterator[Measured]:
        """`least` of the maps must be found; None where the motion may not show them."""
        band = Band(least, None)
        yield Measured(f"{of}: wrong maps found", _percent(self.found, self.maps), band, "%")
        yield Measured(f"{of}: … their axes named exactly", _percent(self.named, self.maps), Band(None, None), "%")
        yield Measured(f"{of}: … called right", self.trusted, exactly(0), "1")
        for unit, count in self.units.items():
            share = _percent(self.units_found[unit], count)
            yield Measured(f"{of}: {unit} found", share, band, "%")
        yield Measured(f"{of}: true sensors accused, of {self.sensors}", len(self.accused), exactly(0), "1")


def _order() -> np.ndarray:
    """(48, 48) [m, q]: the map that explains a true sensor as q does one whose axes were mixed up by m."""
    every = maps()
    product = np.einsum("qij,mjk->mqik", every, every)
    out: np.ndarray = np.argmin(np.abs(product[:, :, None] - every).sum(axis=(-1, -2)), axis=-1)
    return out


_ORDER = _order()


def _percent(part: float, whole: float) -> float:
    return 100.0 * part / whole if whole else float("nan")


# ── turned by hand, and in calibration movements ─────────────────────────────────────────────────────────────────────


def by_hands(context: Context) -> Iterator[Measured]:
    """`sensors check --turn`: two turns by hand."""
    tally = AxisTally()
    for seed in range(context.seed, context.seed + (6 if context.quick else 200)):
        tally.add(f"hand {seed}", by_hand(seed))
    yield from tally.lines("two turns by hand", 98.0)


def in_calibrations(context: Context) -> Iterator[Measured]:
    """The calibration movements of seeded players: each sensor by itself, and one accelerometer inverted among
    three."""
    tally, pairs = AxisTally(), Pairs()
    for seed in range(context.seed, context.seed + (6 if context.quick else 200)):
        context.say(f"player {seed}")
        sensors = worn(performance(seed))
        for segment, samples in sensors.items():
            tally.add(f"player {seed}, {segment}", samples)
        pairs.add(f"player {seed}", sensors)
    yield from tally.lines("calibration movements", 98.0)
    yield from pairs.lines("calibration movements")


@dataclass
class Pairs:
    """One accelerometer inverted among several."""

    sessions: int = 0
    tried: int = 0
    found: int = 0
    named: int = 0
    accused: list[str] = field(default_factory=list)

    def add(self, name: str, sensors: Mapping[Segment, Samples]) -> None:
        self.sessions += 1
        self.accused += [f"{name}: {segment}" for segment in inverted(sensors)]
        for segment in sensors:
            found = inverted({**sensors, segment: with_inverted(sensors[segment])})
            self.tried += 1
            self.found += bool(found)
            self.named += segment in found

    def lines(self, of: str) -> Iterator[Measured]:
        yield Measured(f"{of}: inverted accelerometers not found", self.tried - self.found, exactly(0), "1")
        yield Measured(f"{of}: … the right sensor named", _percent(self.named, self.tried), Band(98.0, None), "%")
        yield Measured(f"{of}: true sessions accused, of {self.sessions}", len(self.accused), exactly(0), "1")


def in_sessions(context: Context) -> Iterator[Measured]:
    """Through the whole pipeline: players whose calibration was accepted as good although a sensor is wrong, or who are
    blamed for it."""
    accepted = blamed = refused = sessions = 0
    count = 4 if context.quick else 30
    for seed in range(context.seed, context.seed + count):
        context.say(f"session {seed}")
        rng = np.random.default_rng([seed, 32])
        segment, wrong = WORN[int(rng.integers(3))], maps()[int(rng.choice(WRONG))]
        changes: tuple[Callable[[Samples], Samples], ...] = (with_inverted, partial(mapped, axes=wrong))
        for change in changes:
            sessions += 1
            said = _first_word(seed, segment, change)
            accepted += said == Level.GOOD
            blamed += isinstance(said, str) and said != Level.GOOD and not _names_it(said, segment)
        refused += _first_word(seed, segment, lambda samples: samples) not in (Level.GOOD, Level.FAIR)
    yield Measured(f"sessions: wrong sensors in a good fit, of {sessions}", accepted, at_most(0.02 * sessions), "1")
    yield Measured("sessions: … something else was blamed", blamed, at_most(0.02 * sessions), "1")
    yield Measured(f"sessions: true sensors refused, of {count}", refused, at_most(0.05 * count), "1")


def _names_it(said: str, segment: Segment) -> bool:
    """The sensor by name; or that the sensors are to be checked, so that it is not the player's doing."""
    return said.startswith(_name(segment)) or "sensors check" in said


def _first_word(seed: int, segment: Segment, change: Callable[[Samples], Samples]) -> str:
    """Level of the fit, or the first reason why there is none."""
    session, pipeline = performance(seed), Pipeline()
    items = list(session.items())
    packets = [one for one in items if isinstance(one, RawPacket)]
    commands = [one for one in items if not isinstance(one, RawPacket)]
    rest = iter((*commands, *rewired(packets, segment, change)))
    while stretch := list(islice(rest, LOOKED_AT_ITEMS)):
        for event in pipeline.feed_many(stretch):
            if isinstance(event, Fitted):
                return str(event.fit.level)
            if isinstance(event, FitRefused):
                return event.reason
            if isinstance(event, SwapOffered):
                return event.text
    return "nothing was said"


def _name(segment: Segment) -> str:
    return str(segment).replace("_", " ")


# ── recordings ───────────────────────────────────────────────────────────────────────────────────────────────────


def in_recordings(context: Context) -> Iterator[Measured]:
    """What `import` would say of all recordings."""
    if context.data is None:
        raise LeftOut("the recordings are not here; name their folder with --data")
    whole = AxisTally()
    for family in FAMILIES:
        tally, pairs = AxisTally(), Pairs()
        for name, sensors in _recordings(context.data, family, quick=context.quick):
            context.say(name)
            for segment, samples in sensors.items():
                tally.add(f"{name} {segment}", samples)
            if len(sensors) > 2:
                pairs.add(name, {one: sensors[one] for one in WORN})
        if not tally.sensors:
            continue
        yield Measured(f"{family}: sensors checked, of {tally.sensors}", tally.judged, Band(None, None), "1")
        yield Measured(f"{family}: wrong maps found, of all", _percent(tally.found, tally.maps), Band(None, None), "%")
        for unit, count in tally.units.items():
            yield Measured(
                f"{family}: {unit} found, of all", _percent(tally.units_found[unit], count), Band(None, None), "%"
            )
        whole.judged += tally.judged
        whole.judged_found += tally.judged_found
        whole.accused += tally.accused
        whole.sensors += tally.sensors
        whole.trusted += tally.trusted
        if pairs.sessions:
            yield from pairs.lines(family)
    share = _percent(whole.judged_found, len(WRONG) * whole.judged)
    yield Measured("recordings: wrong maps found where the motion allows a result", share, Band(95.0, None), "%")
    share = _percent(whole.judged, whole.sensors)
    yield Measured(f"recordings: … that is of {whole.sensors} sensors", share, Band(None, None), "%")
    yield Measured("recordings: wrong maps called right", whole.trusted, exactly(0), "1")
    yield Measured(f"recordings: true sensors accused, of {whole.sensors}", len(whole.accused), exactly(0), "1")


def _recordings(data: Path, family: str, *, quick: bool) -> Iterator[tuple[str, dict[Segment, Samples]]]:
    """Sensors worn together, by recording; sensors of no segment are called by one."""
    folder = data / family
    if not folder.is_dir():
        return
    if family == "human_walk":
        yield family, _files(folder)
    elif family == "people":
        for one in sorted(folder.iterdir()):
            if (one / "imu").is_dir():
                yield one.name, _files(one / "imu")
    elif family == "joint3d":
        for pair in joint3d(folder)[: 1 if quick else None]:
            ends = zip((Segment.PELVIS, Segment.LEFT_THIGH), pair.gyr, pair.acc, strict=True)
            yield pair.name, {one: _timed(pair.rate_hz, gyr, acc) for one, gyr, acc in ends}
    else:
        for k, single in enumerate(broad(folder)):
            if quick and k:
                return
            yield single.name, {Segment.PELVIS: _timed(single.rate_hz, single.gyr, single.acc)}


def _files(folder: Path) -> dict[Segment, Samples]:
    return {one: (series.t_s, series.gyr_rad_s, series.acc_m_s2) for one, series in read_folder(folder).items()}


def _timed(rate_hz: float, gyr: Floats, acc: Floats) -> Samples:
    return np.arange(len(gyr)) / rate_hz, gyr, acc


STEPS = (
    SetPart("wrong axes, turned by hand", by_hands),
    SetPart("wrong axes in calibration movements", in_calibrations),
    SetPart("wrong axes in whole sessions", in_sessions),
    SetPart("wrong axes in recordings", in_recordings),
)
