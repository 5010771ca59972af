"""The strike of the ball in a film's sound, and where the film begins so that strikes and impacts meet. No Qt here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from imufeedback.records import Floats

STEP_S = 0.001
"""Loudness is known so finely."""
LOOK_S = 0.2
"""A strike stands out of so much sound before it."""
RISE_DB = 20.0
"""By so much at least, a tenth of the sound before it left out. Chosen: speech rises more slowly, wind not so far."""
FALL_S, FALL_DB = 0.15, 10.0
"""So long after it the sound has fallen by so much: music that sets in has not. Chosen."""
APART_S = 0.25
"""Of several rises in this time the loudest is the strike."""
NEAR_S = 0.04
"""A strike and an impact of one swing are no further apart: a picture, and the marks of impact. Chosen."""
QUIET_DB = -90.0


@dataclass(slots=True)
class Loudness:
    """Takes sound piece by piece and keeps how loud each millisecond was."""

    rate_hz: int
    _rest: Floats = field(default_factory=lambda: np.zeros(0))
    _before: float = 0.0
    _levels: list[Floats] = field(default_factory=list)

    def add(self, samples: npt.NDArray[np.floating]) -> None:
        """(N,) samples of one channel, 1 is full scale."""
        edges = np.diff(samples, prepend=self._before)  # a strike is sharp: what is slow counts less
        self._before = float(samples[-1]) if len(samples) else self._before
        sound = np.concatenate((self._rest, edges))
        step = max(round(STEP_S * self.rate_hz), 1)
        whole = len(sound) // step * step
        power = np.mean(sound[:whole].reshape(-1, step) ** 2, axis=1)
        self._levels.append(10.0 * np.log10(power + 10.0 ** (QUIET_DB / 10.0)))
        self._rest = sound[whole:]

    @property
    def levels_db(self) -> Floats:
        """(N,) of each `STEP_S`."""
        return np.concatenate(self._levels) if self._levels else np.zeros(0)


def strikes(levels_db: Floats) -> Floats:
    """(N,) seconds of film at which a sharp sound begins that dies away at once, as a struck ball does."""
    look, fall = round(LOOK_S / STEP_S), round(FALL_S / STEP_S)
    found: list[tuple[int, float]] = []
    for at in (np.flatnonzero(np.diff(levels_db) >= RISE_DB / 2) + 1).tolist():
        before = levels_db[max(at - look, 0) : at]
        peak = float(levels_db[at : at + 5].max())
        after = levels_db[at + fall : at + 2 * fall]
        out = peak - float(np.quantile(before, 0.9)) >= RISE_DB
        gone = not len(after) or peak - float(np.median(after)) >= FALL_DB
        if not out or not gone:
            continue
        if found and (at - found[-1][0]) * STEP_S < APART_S:
            if peak > found[-1][1]:
                found[-1] = (at, peak)
        else:
            found.append((at, peak))
    return np.array([at * STEP_S for at, _ in found])


@dataclass(frozen=True, slots=True)
class LinedUp:
    """Where the film begins, and by how much that is known."""

    offset_s: float
    """Session time at which it begins."""
    met: int
    """Impacts that a strike meets."""
    alone: bool
    """No other place lets as many meet: it does not rest on which rep is shown."""


def line_up(heard_s: Floats | Sequence[float], impacts_s: Sequence[float], shown_s: float) -> LinedUp | None:
    """The beginning of the film with which most impacts meet a strike; None without a strike or an impact.

    Args:
        heard_s: (N,) strikes, seconds of film.
        impacts_s: impacts of the session's reps, session time.
        shown_s: impact of the rep that is looked at: where several beginnings are as good, its strike decides, and the
            first strike of the film.
    """
    heard = np.asarray(heard_s, dtype=np.float64)
    impacts = np.asarray(impacts_s, dtype=np.float64)
    if not len(heard) or not len(impacts):
        return None
    places = (impacts[:, None] - heard[None, :]).ravel()
    counts = [_met(heard, impacts, place) for place in places]
    most = max(counts)
    best = [float(place) for place, count in zip(places, counts, strict=True) if count == most]
    alone = max(best) - min(best) <= 2 * NEAR_S
    offset = float(np.median(best)) if alone else _of_shown(heard, best, shown_s)
    return LinedUp(offset, most, alone)


def _met(heard: Floats, impacts: Floats, offset_s: float) -> int:
    away = np.abs(impacts[:, None] - offset_s - heard[None, :])
    return int((away.min(axis=1) <= NEAR_S).sum())


def _of_shown(heard: Floats, places: Sequence[float], shown_s: float) -> float:
    """Among beginnings that are as good: the one that brings the film's earliest strike to the shown rep."""
    return max([one for one in places if np.abs(shown_s - one - heard).min() <= NEAR_S] or places)
