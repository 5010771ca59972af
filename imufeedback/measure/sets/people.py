"""People whose angles another system measured: this tool beside one plain filter a sensor, in the same run."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from imufeedback.errors import BadFile
from imufeedback.measure import axis_maps, persons, persons_methods, windows_sweep
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.persons import Curves, Score, TrialFolder
from imufeedback.records import Bools, Side

IN_TWO_SD = Band(91.0, None)
FROM_GAPS = ("flexion", "rotation")
"""Of a hip, compared where samples are missing."""
LEAST_SHARE = 0.05
"""Of the samples, below which an angle counts as not shown."""


@dataclass
class _Together:
    """Over all trials."""

    without_gaps: dict[str, list[float]] = field(default_factory=dict)
    """Ours over the plain filter's error, by kind of angle."""
    with_gaps: dict[str, list[tuple[float, str]]] = field(default_factory=dict)
    inside: list[tuple[float, int]] = field(default_factory=list)
    """Share within two standard deviations of an angle, and how many samples that was."""
    refused: list[str] = field(default_factory=list)


def angles(context: Context) -> Iterator[Measured]:
    """Hip and knee angles of every trial."""
    found = _Together()
    count = 0
    for trial in _trials(context):
        context.say(trial.name)
        count += 1
        try:
            _compare(context, trial, found)
        except BadFile as why:
            found.refused.append(f"{trial.name}: {why.what}")
    if not count:
        raise LeftOut("the folder people holds no trial")
    yield Measured(_of("people: calibrations refused", found.refused), len(found.refused), exactly(0), "trials")
    yield from _lines(found)


def _trials(context: Context) -> Iterator[TrialFolder]:
    if context.data is None or not (context.data / persons.FOLDER).is_dir():
        raise LeftOut("the recordings people are not here; name their folder with --data")
    return persons.trials(context.data)


def _compare(context: Context, trial: TrialFolder, found: _Together) -> None:
    mine = persons_methods.own(trial, context.work)
    plain = persons_methods.plain(trial, mine.fit)
    errors: dict[str, list[tuple[float, float]]] = {}
    for key in trial.reference_deg:
        if key not in mine.curves or key not in plain:
            continue
        shown = np.isfinite(mine.curves[key].angle_deg) & np.isfinite(plain[key].angle_deg)
        ours, theirs = (_scored(trial, key, curves, shown) for curves in (mine.curves, plain))
        _rows(context, trial, key, ours, theirs)
        if ours.within is not None:
            samples = round(ours.ok_share * np.count_nonzero(trial.counts))
            found.inside.append((ours.within[1], samples))
            if ours.ok_share >= LEAST_SHARE:
                errors.setdefault(key[1], []).append((ours.centred, theirs.centred))
    for kind, pairs in errors.items():
        ratio = float(np.mean([a for a, _ in pairs]) / np.mean([b for _, b in pairs]))
        if not trial.gaps:
            found.without_gaps.setdefault(kind, []).append(ratio)
        elif kind in FROM_GAPS:
            found.with_gaps.setdefault(kind, []).append((ratio, trial.name))


def _scored(trial: TrialFolder, key: tuple[Side, str], curves: Curves, shown: Bools) -> Score:
    return persons.score(trial, key, curves[key], shown, by_repetition=trial.gaps)


def _rows(context: Context, trial: TrialFolder, key: tuple[Side, str], ours: Score, theirs: Score) -> None:
    side, kind = key
    for method, score in (("imufeedback", ours), ("vqf", theirs)):
        within = (None, None) if score.within is None else score.within
        row: dict[str, Any] = {
            "set": "people",
            "trial": trial.name,
            "angle": f"{side} {'hip ' if kind != 'knee' else ''}{kind}",
            "method": method,
            "rmse_deg": score.rmse,
            "rmse_centred_deg": score.centred,
            "r": score.r,
            "excursion_ratio": score.excursion,
            "within_1sd": within[0],
            "within_2sd": within[1],
            "ok_share": score.ok_share,
        }
        context.rows.append({name: None if value != value else value for name, value in row.items()})


def _lines(found: _Together) -> Iterator[Measured]:
    if found.without_gaps:
        ratio = float(np.mean([np.mean(ratios) for ratios in found.without_gaps.values()]))
        yield Measured("people, no gaps: error / VQF, mean over angles", ratio, at_most(1.0), "ratio")
    for kind, ratios in found.with_gaps.items():
        worst, name = max(ratios)
        yield Measured(f"people, gaps: hip {kind}, error / VQF, worst ({name})", worst, at_most(1.25), "ratio")
    if found.inside:
        total = sum(count for _, count in found.inside)
        share = sum(one * count for one, count in found.inside) / max(total, 1)
        yield Measured("people: shown samples within two standard deviations", 100 * share, IN_TWO_SD, "%")


def _of(text: str, names: list[str]) -> str:
    return text if not names else f"{text} ({'; '.join(names)})"


STEPS = (SetPart("angles of people", angles), windows_sweep.STEP, *axis_maps.STEPS)
