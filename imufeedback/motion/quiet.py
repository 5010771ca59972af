"""Steps at which a phase goes on, many at once.

Within one phase what a rep has shown so far (`RepProgress`) is the latest value of a column, or the extreme of it. So
the ways out of a phase are looked for in columns, and only the step that takes one is taken by itself.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from imufeedback.motion.phases import TRANSITIONS, RepLimits, RepProgress, is_slow
from imufeedback.motion.track import Col
from imufeedback.records import Bools, Floats, Phase

LEAST = 24
"""Fewer steps go faster one by one."""


def quiet(rows: Floats, phase: Phase, seen: RepProgress, limits: RepLimits, address: tuple[float, float] | None) -> int:
    """How many steps of a track from its first one on are all known and stay in this phase; `seen` is then what the rep
    has shown with them. `address` holds the thighs' angles there; None: thighs are not looked at."""
    if phase is Phase.ADDRESS and limits.min_backswing_rad == 0:
        return 0  # a rep sets off at any of these steps
    known = _known(rows)
    if not known:
        return 0
    many = _shown(rows[:known], phase, seen, limits, address)
    ends = np.zeros(known, dtype=bool)
    for condition, _ in TRANSITIONS[phase]:
        ends |= condition(many, limits)
    count = int(np.argmax(ends)) if ends.any() else known
    if not count:
        return 0
    furthest = rows[int(np.argmin(rows[:count, Col.TURN]))]
    if phase in (Phase.ADDRESS, Phase.BACKSWING) and furthest[Col.TURN] < seen.furthest_away:
        many.furthest_s, many.furthest_thigh = furthest.item(Col.T), furthest.item(Col.TRAIL_THIGH)
    for name, value in vars(many).items():
        setattr(seen, name, value.item(count - 1) if isinstance(value, np.ndarray) else value)
    return count


def _known(rows: Floats) -> int:
    """How many steps there are before the first of which something is not known."""
    parts = rows[:, [Col.TURN, Col.TRAIL_THIGH, Col.LEAD_THIGH]]
    unknown = np.isnan(parts).any(axis=1) | (rows[:, [Col.MISSING, Col.UNSURE]] != 0).any(axis=1)
    return int(np.argmax(unknown)) if unknown.any() else len(rows)


def _shown(
    rows: Floats, phase: Phase, seen: RepProgress, limits: RepLimits, address: tuple[float, float] | None
) -> RepProgress:
    """Columns of what the rep has shown after each of the steps, if the phase goes on."""
    t_s, turn, rate = rows[:, Col.T], rows[:, Col.TURN], rows[:, Col.TURN_RATE]
    many = replace(seen, t_s=t_s, turn=turn, turn_rate=rate, lost_since_s=math.nan)
    if phase is Phase.ADDRESS:
        many.since_s = t_s
    if phase in (Phase.ADDRESS, Phase.BACKSWING):
        many.furthest_away = np.minimum(np.minimum.accumulate(turn), seen.furthest_away)
    else:
        many.fastest = np.maximum(np.maximum.accumulate(rate), seen.fastest)
        far = turn - seen.furthest_away > limits.min_backswing_rad
        many.slow_since_s = _slow_since(t_s, is_slow(rate, many.fastest), far, seen.slow_since_s)
    if address is not None:
        trail, lead = rows[:, Col.TRAIL_THIGH] - address[0], rows[:, Col.LEAD_THIGH] - address[1]
        most = np.maximum(trail, lead)
        many.bent, many.behind, many.risen = most, -np.minimum(trail, lead), -most
    return many


def _slow_since(t_s: Floats, slow: Bools, far: Bools, before_s: float) -> Floats:
    """(N,) since when the turn has practically stopped: from the first slow step far enough on, until one that is not
    slow; `before_s` from the steps before."""
    number = np.arange(len(t_s))
    quick = np.maximum.accumulate(np.where(slow, -1, number))
    begins = np.minimum.accumulate(np.append(np.where(slow & far, number, len(t_s)), len(t_s))[::-1])[::-1]
    begin = begins[quick + 1]
    since_s: Floats = np.where(begin <= number, t_s[np.minimum(begin, len(t_s) - 1)], np.nan)
    if not math.isnan(before_s):
        since_s[quick < 0] = before_s
    return since_s
