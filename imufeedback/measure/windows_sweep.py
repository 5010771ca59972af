"""Fits by many windows of real recordings: none that is accepted may be wrong, few that hold a movement be refused.

The windows are regular ones, the stretches that a trial names, and seeded random ones: nobody has looked at those
before. `trials.py` says what a fit came to.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.measure.checks import Context, LeftOut, Measured, SetPart, at_most
from imufeedback.measure.trials import RecordedTrial, Window, trials
from imufeedback.records import Fit, Level, Segment

WRONG_DEG = 25.0
LENGTHS_S = (2.0, 4.0, 8.0)
RANDOM_S = (1.2, 12.0)
"""Shortest and longest random window; their logarithm is even."""
RANDOM_WINDOWS = 150
LEAST_S = 1.0
"""A random window holds so much of samples: what lies wholly in a gap is no window."""


@dataclass(frozen=True, slots=True)
class WindowOutcome:
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


def outcome(trial: RecordedTrial, window_s: Window) -> WindowOutcome:
    """Fit one window and judge what came of it."""
    made = trial.fitted(window_s)
    if isinstance(made, str):
        return WindowOutcome(trial.name, window_s, trial.flexes(window_s), None, made, float("nan"))
    return WindowOutcome(trial.name, window_s, trial.flexes(window_s), made, None, trial.error_deg(made))


def regular(trial: RecordedTrial, every: int = 1) -> list[Window]:
    """The stretches that the trial names, and windows of some lengths one after the other."""
    first = trial.still_s[1]
    out = list(trial.stretches)
    for length_s in LENGTHS_S:
        begins = np.arange(first, trial.end_s - length_s, max(length_s, (trial.end_s - first) / 8))
        out += [(float(begin), float(begin) + length_s) for begin in begins]
    return out[::every]


def at_random(trial: RecordedTrial, count: int, rng: np.random.Generator) -> list[Window]:
    """Windows after standing."""
    out: list[Window] = []
    while len(out) < count:
        length_s = float(np.exp(rng.uniform(*np.log(RANDOM_S))))
        begin_s = float(rng.uniform(trial.still_s[1], trial.end_s - 1.0))
        window = round(begin_s, 2), round(min(begin_s + length_s, trial.end_s), 2)
        t_s = trial.series[Segment.PELVIS].t_s
        if ((t_s >= window[0]) & (t_s < window[1])).sum() >= LEAST_S * trial.rate_hz:
            out.append(window)
    return out


def outcomes(context: Context) -> Iterator[WindowOutcome]:
    """Every window of every recording."""
    if context.data is None or not (found := trials(context.data)):
        raise LeftOut("no recordings of people are here; name their folder with --data")
    rng = np.random.default_rng([context.seed, 31])
    count = -(-(RANDOM_WINDOWS // 5 if context.quick else RANDOM_WINDOWS) // len(found))
    for trial in found:
        windows = regular(trial, 3 if context.quick else 1) + at_random(trial, count, rng)
        context.say(f"{trial.name}: {len(windows)} windows")
        yield from (outcome(trial, one) for one in windows)


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


def lines(seen: Sequence[WindowOutcome]) -> Iterator[Measured]:
    flexed = [one for one in seen if one.flexed]
    share = 100 * sum(not one.accepted for one in flexed) / len(flexed) if flexed else float("nan")
    accepted = sum(one.accepted for one in seen)
    wrong = sum(one.wrong for one in seen)
    yield Measured(f"{len(seen)} windows, {accepted} accepted: wrong and accepted", wrong, at_most(0), "fits")
    yield Measured(f"{len(flexed)} windows with 30° of flexion: refused", share, at_most(10), "%")


STEP = SetPart("fits by windows of people", sweep)
