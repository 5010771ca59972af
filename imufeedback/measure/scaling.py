"""How the cost of the work grows: with sensors, rate, length of a session, and reps in a library.

A session here is fitted when it begins and swings at full pace from its first second on, so that every second of it
costs alike; it is a recording, judged whole. Every cost is the least of some tries, taken in turn: what else the
machine does can only make it larger.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, SetFit, SetZero, recorded
from imufeedback.measure import archive
from imufeedback.measure.players import typical
from imufeedback.packets import parse_layout
from imufeedback.record.library import places
from imufeedback.record.library.library import Library
from imufeedback.records import Command, Fit, Item, Level, Segment, SegmentFit
from imufeedback.review.judging import judge
from imufeedback.settings import Player, Settings
from imufeedback.synth.golfer import BODY
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import SensorStream, raw_packets, sensor_streams

LAYOUT = "house"
RATE_HZ = 200.0
SENSORS = (1, 2, 3, 4, 5, 6)
"""Six is every place there is. Fewer than three give no swings, so they cost a little less than their share."""
RATES_HZ = (50.0, 100.0, 200.0, 400.0)
REPS_OF_A_RECORDING = 100
STILL_S, ZERO_S = 1.0, 0.6
"""The player stands for so long before the first rep, and is told to be in the zero position after so long."""
SHORT_S = 6.0
"""Of a session: until after the finish of the first swing. What the curves of sensors and rates are made of."""
TRIAL = "scaling"


@dataclass(frozen=True, slots=True)
class CostCurve:
    """Costs of some sizes."""

    what: str
    unit: str
    """Of the sizes."""
    cost_unit: str
    sizes: tuple[float, ...]
    """Rising."""
    costs: tuple[float, ...]

    @property
    def exponent(self) -> float:
        """Of the power of the size that the cost goes with (slope of the logarithms): 1 is in proportion."""
        return float(np.polyfit(np.log(self.sizes), np.log(self.costs), 1)[0])

    @property
    def line(self) -> tuple[float, float]:
        """(cost of one more, cost of nothing) of the straight line through them."""
        each, fixed = np.polyfit(self.sizes, self.costs, 1)
        return float(each), float(fixed)

    @property
    def r2(self) -> float:
        """Part of the costs' variance that the straight line explains."""
        costs = np.array(self.costs)
        left = costs - np.polyval(self.line, self.sizes)
        return float(1 - np.sum(left**2) / np.sum((costs - costs.mean()) ** 2))

    def row(self) -> dict[str, Any]:
        """JSON values."""
        each, fixed = self.line
        return {
            "set": "speed",
            "trial": TRIAL,
            **{name: getattr(self, name) for name in ("what", "unit", "cost_unit")},
            "sizes": list(self.sizes),
            "costs": list(self.costs),
            "exponent": self.exponent,
            "each": each,
            "fixed": fixed,
            "r2": self.r2,
        }


def least(works: Mapping[float, Callable[[], float]], tries: int) -> tuple[float, ...]:
    """The least figure of each work, all of them in turn; one more call of the first comes before, for warming up."""
    next(iter(works.values()))()
    rounds = [[work() for work in works.values()] for _ in range(tries)]
    return tuple(min(column) for column in zip(*rounds, strict=True))


# ── sessions ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def session(
    script: Script, segments: Sequence[Segment] = WORN, rate_hz: float = RATE_HZ, seconds: float = math.inf
) -> Iterator[Item]:
    """From a second before the end of the calibration movements on, with the true calibration, for so many
    `seconds`."""
    layout = msgspec.structs.replace(parse_layout(resources.text("layouts", LAYOUT), LAYOUT), rate_hz=rate_hz)
    streams = sensor_streams(script, layout, segments, model=typical(soft_tissue=False))
    begin_ns = round((script.ready_s - STILL_S) * 1e9)
    zero: Command | None = recorded(begin_ns + round(ZERO_S * 1e9), SetZero())
    yield recorded(begin_ns, Begin.of(_settings(script, streams, rate_hz)))
    yield recorded(begin_ns, SetFit.of(_true_fit(streams)))
    for packet in raw_packets(streams):
        if zero is not None and packet.host_ns >= zero.host_ns:
            yield zero
            zero = None
        if packet.host_ns > begin_ns + seconds * 1e9:
            break
        if packet.host_ns >= begin_ns:
            yield packet


def seconds_of(script: Script) -> float:
    """Length of its session."""
    return script.duration_s - script.ready_s + STILL_S


def _settings(script: Script, streams: Sequence[SensorStream], rate_hz: float) -> Settings:
    was = f"rate_hz = {RATE_HZ}"
    layout = resources.text("layouts", LAYOUT).replace(was, f"rate_hz = {rate_hz}")
    worn = [(stream.serial, stream.segment) for stream in streams]
    return session_settings(worn, LAYOUT, layout_text=layout, player=Player(hand=script.hand), grid_hz=rate_hz)


def _true_fit(streams: Sequence[SensorStream]) -> Fit:
    jointed = [one.place for one in streams if one.segment is not Segment.LEAD_FOREARM]
    return Fit("true", tuple(SegmentFit(one.segment, one.q_sb, Level.GOOD, np.deg2rad(1.0), None) for one in jointed))


def _analysis(path: Path) -> Callable[[], float]:
    def seconds() -> float:
        begun = time.process_time()
        judge(path)
        return time.process_time() - begun

    return seconds


def _script(reps: int, seed: int) -> Script:
    return make_script(reps=reps, seed=seed, pace=Pace.FULL)


# ── the four curves ──────────────────────────────────────────────────────────────────────────────────────────────────


def sensors(work: Path, seed: int, counts: Sequence[int] = SENSORS, tries: int = 2) -> CostCurve:
    """Milliseconds of processor time for each second of a session, by the number of sensors."""
    script = _script(1, seed)
    works = {
        float(n): _analysis(archive.write_items(work / f"sensors{n}.mcap", session(script, BODY[:n], seconds=SHORT_S)))
        for n in counts
    }
    return _each_second("the number of sensors", "sensors", works, tries)


def rates(work: Path, seed: int, hz: Sequence[float] = RATES_HZ, tries: int = 2) -> CostCurve:
    """The same by the rate of three sensors; a packet has four samples at any rate."""
    script = _script(1, seed)
    works = {
        one: _analysis(archive.write_items(work / f"rate{one:g}.mcap", session(script, rate_hz=one, seconds=SHORT_S)))
        for one in hz
    }
    return _each_second("the rate", "Hz", works, tries)


def _each_second(what: str, unit: str, works: Mapping[float, Callable[[], float]], tries: int) -> CostCurve:
    each_ms = [1e3 * cost / SHORT_S for cost in least(works, tries)]
    return CostCurve(what, unit, "ms a second of session", tuple(map(float, works)), tuple(each_ms))


def lengths(work: Path, seed: int, reps: Sequence[int], tries: int = 2) -> CostCurve:
    """Seconds of processor time by the seconds of the session."""
    scripts = [_script(one, seed) for one in reps]
    works = {
        seconds_of(one): _analysis(archive.write_items(work / f"reps{k}.mcap", session(one)))
        for k, one in zip(reps, scripts, strict=True)
    }
    return CostCurve("the length of a session", "s", "s", tuple(works), least(works, tries))


def library(work: Path, seed: int, recordings: Sequence[int], tries: int = 2) -> CostCurve:
    """Seconds of processor time of making the index anew, by the reps in the library."""
    works = {float(n * REPS_OF_A_RECORDING): _index(work / f"library{n}", n, seed) for n in recordings}
    return CostCurve("the size of a library", "reps", "s", tuple(works), least(works, tries))


def _index(root: Path, recordings: int, seed: int) -> Callable[[], float]:
    archive.make_library(root, recordings, REPS_OF_A_RECORDING, np.random.default_rng(seed))

    def seconds() -> float:
        (root / places.INDEX).unlink(missing_ok=True)
        begun = time.process_time()
        Library(root).close()
        return time.process_time() - begun

    return seconds
