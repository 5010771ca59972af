"""Whether a sensor's axes, signs and units can be true, from what its own motion shows.

**One sensor.** Carried into one frame by the gyroscope, gravity stays put: ġ = −ω × g. Of the 48 ways in which the
gyroscope's three axes can be taken for the accelerometer's (permutations with signs, mirrored ones included) only the
true one does that, once the sensor has turned about two axes. What the body adds to gravity is an arm about a pivot,
which is solved for, and an acceleration whose velocity stays bounded: so what is left over is weighed by the
spectrum of such an acceleration, which has little power where gravity that is carried wrongly has most (`carried.py`).

**Two neighbours.** An accelerometer that is inverted as a whole is invisible to its own gyroscope: −g satisfies the
equation too. It turns the sensor's "up" round, and neighbours on a body turn alike about the vertical
(`neighbours.py`).

Where the motion does not show it nothing is said. All sensors inverted together look like a body on its head.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from imufeedback.body.carried import OVERLAP, TRUE, carried, determinants, left_over, maps
from imufeedback.constants import STANDARD_GRAVITY_M_S2
from imufeedback.records import Floats

WINDOWS_S = (4.8, 9.6)
"""Over a whole lift or bow the body's own acceleration comes to nothing; in shorter ones a sideways shift of the weight
looks like a turn: with 1.2 and 2.4 s true sensors of players are contradicted five times as much."""
SHORT_S = (1.2, 2.4)
"""For runs between gaps that are too short for those."""
EVIDENCE = 2.0
"""Natural logarithm of the odds against the axes as they are. Of true sensors at most 1.4 in calibration movements of
52 seeded players, where some axes are hardly turned about, and at most 0.2 in all recordings."""
SHARE = 0.3
"""… and so much of it a window, on average: a small contradiction is no other map, however often it is repeated."""
UNITS_SHARE = 0.15
"""The same for a wrong unit of the rates; of true sensors the gain is always below zero."""
SAME = 1.0
"""Maps whose evidence differs by less are not told apart: the one that changes least is named."""
STEP_S = (1e-4, 0.12)
"""Sample periods of such sensors: 8 Hz to 10 kHz. A file in milliseconds is outside."""
GRAVITY_OFF = 0.25
PIECE_SAMPLES = 20_000
"""Looked at in one go, for the sake of memory."""


@dataclass(frozen=True, slots=True)
class AxisVerdict:
    """What one sensor's samples say of its axes and units."""

    kind: str
    """``fine``, ``axes``, ``units``, ``inverted``, or ``unknown`` where the motion does not show it."""
    what: str = ""
    """What contradicts what; empty for ``fine`` and ``unknown``."""
    hint: str = ""
    """What to do."""
    axes: tuple[str, str, str] | None = None
    """The gyroscope's axes as they would be right, in the form of a layout's `axes`."""
    quantity: str = ""
    """What has the wrong unit: ``time``, ``gyr`` or ``acc``; empty for all other kinds."""
    factor: float = 1.0
    """What its values have to be multiplied by."""

    @property
    def wrong(self) -> bool:
        return self.kind in ("axes", "units", "inverted")

    def __str__(self) -> str:
        return f"{self.what} – {self.hint}" if self.what else self.kind


@dataclass(frozen=True)
class AxisEvidence:
    """What some windows say; two of them can be added."""

    windows: float = 0.0
    """How many that do not overlap."""
    left: Floats = field(default_factory=lambda: np.zeros(48))
    """(48,) logarithm of what each map leaves over, summed over windows."""
    scaled: Floats = field(default_factory=lambda: np.zeros((2, 2)))
    """(2, 2) by how much rates in degrees, or in radians, explain more than those that stand there; and windows."""

    def __add__(self, other: AxisEvidence) -> AxisEvidence:
        return AxisEvidence(self.windows + other.windows, self.left + other.left, self.scaled + other.scaled)

    def verdict(self, sure: float = 1.0) -> AxisVerdict:
        """Wrong when something else explains the motion clearly better, fine when nothing else does nearly as well;
        `sure` times the evidence that would do."""
        over = self.left - self.left[TRUE]
        best = int(np.argmin(over))
        gains = self.scaled[:, 0]
        unit = int(np.argmax(gains))
        if gains[unit] > max(sure * EVIDENCE, UNITS_SHARE * self.scaled[unit, 1], -over[best]):
            return _unit("gyr", _RATE_UNITS[unit], (math.pi / 180.0, 180.0 / math.pi)[unit])
        enough = max(sure * EVIDENCE, SHARE * self.windows)
        if -over[best] > enough:
            alike = np.flatnonzero(over <= over[best] + SAME)
            # two maps that say the same differ by rounding: then the first of them
            return _named(min(alike.tolist(), key=lambda k: (_changes(k), round(float(over[k]), 6))))
        return AxisVerdict("fine" if np.delete(over, TRUE).min() > enough else "unknown")

    def unseen(self) -> tuple[str, ...]:
        """Axes about which the sensor has not turned enough: their signs could be either way."""
        over = self.left - self.left[TRUE]
        return tuple(name for k, name in enumerate("xyz") if over[_NEGATED[k]] < EVIDENCE)


def judge(t_s: Floats, gyr_rad_s: Floats, acc_m_s2: Floats) -> AxisVerdict:
    """The verdict on one sensor from a stretch of samples: (N,) s, (N, 3) rad/s, (N, 3) m/s². Gaps may be in it."""
    return units(t_s, acc_m_s2) or evidence(t_s, gyr_rad_s, acc_m_s2).verdict()


def units(t_s: Floats, acc_m_s2: Floats) -> AxisVerdict | None:
    """A wrong unit that needs no turn to be seen: of time, or of the accelerometer."""
    if len(t_s) < 2:
        return None
    step = float(np.median(np.diff(t_s)))
    for factor, unit in _TIME_UNITS:
        if not STEP_S[0] <= step <= STEP_S[1] and STEP_S[0] <= step * factor <= STEP_S[1]:
            what = f"a sample every {step:.3g} s: its times are in {unit}, not in seconds"
            return _unit("time", what, factor)
    with np.errstate(all="ignore"):
        size = float(np.nanmedian(np.linalg.norm(acc_m_s2, axis=1)))
    for factor, what in (
        (STANDARD_GRAVITY_M_S2, "in g, not in m/s²"),
        (1 / STANDARD_GRAVITY_M_S2, "in m/s², not in g"),
    ):
        if abs(size * factor / STANDARD_GRAVITY_M_S2 - 1.0) < GRAVITY_OFF:
            seen = f"acc measures {size:.3g} m/s², and gravity is 9.81: its values are {what}"
            return _unit("acc", seen, factor)
    return None


def evidence(t_s: Floats, gyr_rad_s: Floats, acc_m_s2: Floats) -> AxisEvidence:
    """What the windows of a stretch say; the arguments are those of `judge`."""
    out = AxisEvidence()
    for begin in range(0, len(t_s), PIECE_SAMPLES):
        part = slice(begin, begin + PIECE_SAMPLES)
        stretch = carried(t_s[part], gyr_rad_s[part], acc_m_s2[part])
        if stretch is None:
            continue
        for window_s in (*SHORT_S, *WINDOWS_S):
            longest_s = np.inf if window_s in WINDOWS_S else 2 * window_s
            left, scaled = left_over(stretch, window_s, longest_s)
            share, unit_share = _apart(np.array(float(len(left)))), _apart(scaled[:, 1:])
            count = float(share * len(left)) if window_s != WINDOWS_S[-1] else 0.0
            out += AxisEvidence(count, share * np.log(left).sum(axis=0), unit_share * scaled)
    return out


def _apart(count: Floats) -> Floats:
    """What one of so many overlapping windows counts: the first one for itself, each more by what it adds."""
    out: Floats = (count + OVERLAP - 1.0) / (OVERLAP * np.maximum(count, 1.0))
    return out


# ── maps ─────────────────────────────────────────────────────────────────────────────────────────────────────────


_NEGATED = (4, 2, 1)
"""Maps that negate x, y or z alone."""
_RATE_UNITS = (
    "its rates are 57 times too large: they are in °/s, not in rad/s",
    "its rates are 57 times too small: they are in rad/s, not in °/s",
)
_TIME_UNITS = ((1e-3, "milliseconds"), (1e-6, "microseconds"), (1e-9, "nanoseconds"), (1e3, "thousands of seconds"))


def _unit(quantity: str, what: str, factor: float) -> AxisVerdict:
    hint = f"multiply {quantity} by {factor:.6g}, or correct its unit in the layout"
    return AxisVerdict("units", what, hint, quantity=quantity, factor=factor)


def _changes(k: int) -> int:
    """How many axes of one chip have to be changed."""
    Q = maps()[k]
    ways = (Q, Q.T, -Q.T) if determinants()[k] > 0 else (Q,)
    return min(int((np.diag(way) != 1.0).sum()) for way in ways)


def _named(k: int) -> AxisVerdict:
    """Which axis contradicts gravity, and how it would not."""
    Q = maps()[k]
    wanted = words(Q)
    off = [name for i, name in enumerate("xyz") if Q[i, i] != 1.0]
    hint = f"set axes of gyr to {', '.join(wanted)} in the layout, or correct the file's columns"
    if (np.abs(Q) == np.eye(3)).all():
        kept = [name for name in "xyz" if name not in off]
        what = f"{_and(f'gyr_{name}' for name in off)} {'has' if len(off) == 1 else 'have'} the wrong sign"
        if len(off) == 2:
            what = f"acc_{kept[0]} has the wrong sign, or gyr_{off[0]} and gyr_{off[1]} have"
            hint = f"negate acc_{kept[0]} in the layout's axes or in the file"
    elif len(off) == 2 and Q.min() >= 0:
        what = f"gyr_{off[0]} and gyr_{off[1]} are exchanged"
    else:
        which = "" if len(off) == 3 else f" {_and(off)}"
        what = f"gyr and acc do not have the same{which} axes"
        if determinants()[k] > 0:
            hint += f"; or those of acc to {', '.join(words(_nearest(Q)))}"
    return AxisVerdict("axes", f"{what}: its turns contradict gravity", hint, wanted)


def _nearest(Q: Floats) -> Floats:
    """The accelerometer's map that has the same effect: of the two, the one with fewer minuses."""
    return Q.T if Q.sum() >= 0 else -Q.T


def words(Q: Floats) -> tuple[str, str, str]:
    """A map in the form of a layout's `axes`."""
    names = [f"{'-' if row.sum() < 0 else ''}{'xyz'[int(np.argmax(np.abs(row)))]}" for row in Q]
    return names[0], names[1], names[2]


def _and(names: Iterable[str]) -> str:
    return " and ".join(names)
