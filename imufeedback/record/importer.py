"""CSV folder to recording, with its calibration."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, takewhile
from pathlib import Path

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.body.axes import AxisVerdict, units
from imufeedback.body.suspects import suspects
from imufeedback.commands import Begin, FitWindows, Malformed, SetFit, recorded, stored_fit
from imufeedback.errors import BadFile
from imufeedback.pipeline import Pipeline
from imufeedback.record.csv_folder import CsvSeries, common_start_s, counted_from, read_folder, refuse_apart, to_items
from imufeedback.record.journal import JournalWriter
from imufeedback.record.session_file import SESSION_FILE, SessionFile, read_session
from imufeedback.records import Fit, FitRefused, Fitted, Hand, Item, Json, Segment
from imufeedback.settings import Settings

LAYOUT = "lossless"
STANDS_FOR_STEPS = 0.5
"""A sample of an unknown sensor is the mean over the step that it ends, so it tells of the motion half a step before:
no sensor that keeps false frequencies out is quicker. People with optical angles and both sets with cameras are late by
at least that (DEVELOPERS.md)."""
JUDGED_S, JUDGED_LEAST = 1200.0, 10_000
"""Of a longer recording the first 20 minutes show whether the sensors' axes can be true; and at least so many samples,
for times may be in another unit."""
LEAST_HZ = 0.1
"""The least rate that a layout may state."""
UNLIKE = 150.0
"""Files of one session whose samples are further apart by more are not in the same unit of time. Chosen."""
_FIRST = {"time": 0, "gyr": 1, "acc": 4}
"""Where a quantity's first column stands among the seven."""
_OTHER_UNIT = {
    ("gyr", "rad_s"): "gyr_x_deg_s …",
    ("gyr", "deg_s"): "gyr_x_rad_s …",
    ("acc", "m_s2"): "acc_x_g …",
    ("acc", "g"): "acc_x_m_s2 …",
}


@dataclass(frozen=True, slots=True)
class Imported:
    """What came of an import."""

    path: Path
    samples: int
    segments: tuple[Segment, ...]
    fit: Fit | None
    notes: tuple[str, ...]
    error: str | None
    """What went wrong while writing, in one line."""
    wrong: tuple[str, ...] = ()
    """Sensors whose axes, signs or units contradict physics, one line each; then there is no fit."""


def import_folder(
    source: Path,
    out: Path,
    *,
    still_s: tuple[float, float] | None = None,
    flex_s: tuple[float, float] | None = None,
    hand: Hand | None = None,
    filter_name: str | None = None,
) -> Imported:
    """Make a recording of a folder of ``<segment>.csv``.

    Times that all begin later than a day count from the files' common start; windows may be given either way. With both
    windows (seconds of the files' own time) the sensors are calibrated first, and the calibration is the recording's
    second item: so angles are there from the first standing still on. Where a sensor contradicts physics the
    recording is made all the same, without a fit. A ``session.json`` that an export left in the folder gives what the
    arguments do not: player, rules, filter, calibration, title and start. Raises BadFile for what is wrong with the
    files, or with the windows; CannotWrite when the recording cannot be created.
    """
    series = read_folder(source)
    _refuse_other_times(series.values(), source)
    refuse_apart(series, source)
    start_s = common_start_s(series)
    told: tuple[str, ...] = ()
    if start_s:
        series = counted_from(series, start_s)
        still_s, flex_s = _from_start(still_s, start_s), _from_start(flex_s, start_s)
        told = (f"the files' times begin at {start_s:.12g} s: they are counted from there",)
    rate_hz = _rate_hz(series.values(), source)
    read = read_session(source)
    kept = read or SessionFile(title=source.name)
    delay_s = STANDS_FOR_STEPS / rate_hz if read is None else read.delay_s
    first = recorded(0, Begin.of(_settings(list(series), rate_hz, delay_s, kept, hand, filter_name)))
    wrong = _wrong(series)
    fit = None if kept.fit is None or wrong else _kept_fit(kept.fit, source)
    if still_s is not None and flex_s is not None and not wrong:
        fit = _fit(to_items(series, first), still_s, flex_s, source)
    items = to_items(series, first)
    with JournalWriter(out, title=kept.title, started=kept.started) as journal:
        journal.write(next(items))
        if fit is not None:
            journal.write(recorded(0, SetFit.of(fit)))
        for item in items:
            journal.write_in_turn(item)
    notes = (*told, *chain.from_iterable(one.notes for one in series.values()))
    samples = sum(len(one.t_s) for one in series.values())
    return Imported(journal.path, samples, tuple(series), fit, notes, journal.error, wrong)


def _from_start(window_s: tuple[float, float] | None, start_s: float) -> tuple[float, float] | None:
    """A window of the files' own time, in the time that counts from their start; one that lies before it was meant so
    already."""
    if window_s is None or window_s[1] < start_s:
        return window_s
    return window_s[0] - start_s, window_s[1] - start_s


def _wrong(series: Mapping[Segment, CsvSeries]) -> tuple[str, ...]:
    """What the samples themselves say against their columns and units, one line a sensor."""
    worn = {}
    for segment, one in series.items():
        count = max(int(np.searchsorted(one.t_s, one.t_s[0] + JUDGED_S)), JUDGED_LEAST)
        worn[segment] = one.t_s[:count], one.gyr_rad_s[:count], one.acc_m_s2[:count]
    return tuple(f"{segment}.csv: {_words(verdict, series[segment])}" for segment, verdict in suspects(worn).items())


def _words(verdict: AxisVerdict, one: CsvSeries) -> str:
    """A wrong unit with the columns that have it, and what to multiply them by."""
    if verdict.kind != "units":
        return str(verdict)
    names = _and([name for name in one.columns if name.startswith(verdict.quantity)])
    headings = _OTHER_UNIT.get((verdict.quantity, one.columns[_FIRST[verdict.quantity]].split("_", 2)[-1]), "")
    rather = f", or call them {headings}" if headings else ""
    return f"{names}: {verdict.what} – multiply by {verdict.factor:.6g}{rather}"


def _and(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _refuse_other_times(series: Collection[CsvSeries], source: Path) -> None:
    """Times of some files in another unit than the others' put them elsewhere: that is named before anything else is
    judged. Where all are alike a recording can be made, and its sensors are told of; so can one of unlike rates."""
    found = {one.segment: units(one.t_s, one.acc_m_s2) for one in series}
    wrong = {name: one for name, one in found.items() if one and one.quantity == "time"}
    steps_s = {one.segment: float(np.median(np.diff(one.t_s))) for one in series if len(one.t_s) > 1}
    usual_s = [step_s for name, step_s in steps_s.items() if name not in wrong]
    if not any(abs(math.log2(steps_s[name] * one.factor / usual_s[0])) < 1.0 for name, one in wrong.items() if usual_s):
        return
    factor = next(iter(wrong.values())).factor
    what = "; ".join(f"{name}.csv: time_s: {one.what}" for name, one in wrong.items())
    raise BadFile(what, where=str(source), hint=f"multiply the times by {factor:.6g}")


def _rate_hz(series: Iterable[CsvSeries], source: Path) -> float:
    """Sample rate common to all files: the median step, to a thousandth of a hertz."""
    steps = {one.segment: float(np.median(np.diff(one.t_s))) for one in series if len(one.t_s) > 1}
    if not steps:
        raise BadFile("only one sample in each file", where=str(source), hint="export a longer stretch")
    slowest, quickest = max(steps, key=steps.__getitem__), min(steps, key=steps.__getitem__)
    if steps[slowest] > UNLIKE * steps[quickest]:
        what = f"{slowest}.csv has a sample every {steps[slowest]:.3g} s, {quickest}.csv every {steps[quickest]:.3g} s"
        hint = "time_s counts seconds in every file: is one of them in milliseconds?"
        raise BadFile(what, where=str(source), hint=hint)
    rate_hz = round(1.0 / steps[quickest], 3)
    if rate_hz < LEAST_HZ:
        what = f"a sample every {steps[quickest]:.3g} s in each file"
        hint = "time_s counts seconds: divide milliseconds by 1000, microseconds by 1000000"
        raise BadFile(what, where=str(source), hint=hint)
    return rate_hz


def _kept_fit(args: dict[str, Json], source: Path) -> Fit:
    found = stored_fit(args)
    if isinstance(found, Malformed):
        where = str(source / SESSION_FILE)
        raise BadFile(f"its calibration makes no sense ({found.wrong})", where=where, hint="remove it, or export again")
    return found.fit()


def _settings(
    segments: Sequence[Segment],
    rate_hz: float,
    delay_s: float,
    kept: SessionFile,
    hand: Hand | None,
    filter_name: str | None,
) -> Settings:
    text = resources.text("layouts", LAYOUT)
    return session_settings(
        ((str(segment), segment) for segment in segments),
        LAYOUT,
        layout_text=_with_rate(text, rate_hz, delay_s),
        rules=kept.rule_set or None,
        limits=kept.limits,
        player=kept.player if hand is None else msgspec.structs.replace(kept.player, hand=hand),
        filter_name=kept.filter if filter_name is None else filter_name,
        grid_hz=rate_hz,
    )


def _with_rate(text: str, rate_hz: float, delay_s: float) -> str:
    """The layout's text with the rate that the files have, and the delay of their samples."""
    said = f"rate_hz = {rate_hz}\ndelay_s = {delay_s!r}"
    lines = [said if line.startswith("rate_hz") else line for line in text.splitlines()]
    return "\n".join(lines) + "\n"


def _fit(items: Iterable[Item], still_s: tuple[float, float], flex_s: tuple[float, float], source: Path) -> Fit:
    pipeline = Pipeline()
    until_ns = (max(still_s[1], flex_s[1]) + 1.0) * 1e9
    needed = list(takewhile(lambda item: item.host_ns <= until_ns, items))
    last_ns = needed[-1].host_ns
    pipeline.feed_many(needed)
    pipeline.finish()  # after a gap the last items may still be held
    hint = "nothing was written: choose other stretches for --still and --flex, or leave both out"
    answer = pipeline.feed(recorded(last_ns, FitWindows(still_s, flex_s)))
    for event in answer:
        if isinstance(event, Fitted):
            return event.fit
        if isinstance(event, FitRefused):
            raise BadFile(f"no calibration: {event.reason}", where=str(source), hint=hint)
    raise BadFile("no calibration came of it", where=str(source), hint=hint)
