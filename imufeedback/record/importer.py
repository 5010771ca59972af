"""CSV folder to recording, with its fitting."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import msgspec
import numpy as np

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.body.stage import fit_from_json
from imufeedback.body.suspects import suspects
from imufeedback.commands import wrong_in
from imufeedback.errors import BadFile
from imufeedback.pipeline import Pipeline, fit_args
from imufeedback.record.csv_folder import CsvSeries, read_folder, to_items
from imufeedback.record.journal import JournalWriter
from imufeedback.record.session_file import SESSION_FILE, SessionFile, read_session
from imufeedback.records import Command, Fit, FitRefused, Fitted, Hand, Item, Json, Segment
from imufeedback.settings import Settings

LAYOUT = "lossless"
STANDS_FOR_STEPS = 0.5
"""A sample of an unknown sensor is the mean over the step that it ends, so it tells of the motion half a step before:
no sensor that keeps false frequencies out is quicker. People with optical angles and both sets with cameras are late by
at least that (DEVELOPERS.md)."""
JUDGED_S = 1200.0
"""Of a longer recording the first 20 minutes show whether the sensors' axes can be true."""


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

    With both windows (seconds of the files' own time) the sensors are fitted first, and the fitting is the recording's
    second item: so angles are there from the first standing still on. Where a sensor contradicts physics the
    recording is made all the same, without a fit. A ``session.json`` that an export left in the folder gives what the
    arguments do not: player, rules, filter, fitting, title and start. Raises BadFile for what is wrong with the files,
    or with the windows; CannotWrite when the recording cannot be created.
    """
    series = read_folder(source)
    rate_hz = _rate_hz(series.values(), source)
    read = read_session(source)
    kept = read or SessionFile(title=source.name)
    delay_s = STANDS_FOR_STEPS / rate_hz if read is None else read.delay_s
    begin = _settings(list(series), rate_hz, delay_s, kept, hand, filter_name).to_args()
    wrong = _wrong(series)
    fit = None if kept.fit is None or wrong else _kept_fit(kept.fit, source)
    if still_s is not None and flex_s is not None and not wrong:
        fit = _fit(to_items(series, begin), still_s, flex_s, source)
    items = to_items(series, begin)
    with JournalWriter(out, title=kept.title, started=kept.started) as journal:
        journal.write(next(items))
        if fit is not None:
            journal.write(Command(0, "set-fit", fit_args(fit)))
        for item in items:
            journal.write(item)
    notes = tuple(chain.from_iterable(one.notes for one in series.values()))
    samples = sum(len(one.t_s) for one in series.values())
    return Imported(journal.path, samples, tuple(series), fit, notes, journal.error, wrong)


def _wrong(series: Mapping[Segment, CsvSeries]) -> tuple[str, ...]:
    """What the samples themselves say against their columns and units, one line a sensor."""
    worn = {}
    for segment, one in series.items():
        count = int(np.searchsorted(one.t_s, one.t_s[0] + JUDGED_S))
        worn[segment] = one.t_s[:count], one.gyr_rad_s[:count], one.acc_m_s2[:count]
    return tuple(f"{segment}.csv: {verdict}" for segment, verdict in suspects(worn).items())


def _rate_hz(series: Iterable[CsvSeries], source: Path) -> float:
    """Sample rate common to all files: the median step, to a thousandth of a hertz."""
    steps = [float(np.median(np.diff(one.t_s))) for one in series if len(one.t_s) > 1]
    if not steps:
        raise BadFile("only one sample in each file", where=str(source), hint="export a longer stretch")
    return round(1.0 / min(steps), 3)


def _kept_fit(args: dict[str, Json], source: Path) -> Fit:
    wrong = wrong_in(Command(0, "set-fit", args))
    if wrong:
        where = str(source / SESSION_FILE)
        raise BadFile(f"its fitting makes no sense ({wrong})", where=where, hint="remove it, or export again")
    return fit_from_json(args)


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
    last_ns = 0
    for item in items:
        last_ns = item.host_ns
        pipeline.feed(item)
        if last_ns * 1e-9 > max(still_s[1], flex_s[1]) + 1.0:
            break
    else:
        pipeline.finish()
    hint = "nothing was written: choose other stretches for --still and --flex, or leave both out"
    answer = pipeline.feed(Command(last_ns, "fit", {"still": list(still_s), "flex": list(flex_s)}))
    for event in answer:
        if isinstance(event, Fitted):
            return event.fit
        if isinstance(event, FitRefused):
            raise BadFile(f"no fitting: {event.reason}", where=str(source), hint=hint)
    raise BadFile("no fitting came of it", where=str(source), hint=hint)
