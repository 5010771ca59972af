"""Two short jolts of a thigh's sensor, while its wearer stands still: a double tap with a finger.

What comes of a jolt is in the samples around it, so a tap is told when the stillness after it has been seen. The whole
memory is the last stretch of samples: blocks of any size tell the same.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from imufeedback.records import AlignedBlock, Bools, Floats, Segment, Tapped
from imufeedback.stage import Stage

JOLT_M_S2 = 10.0
"""Change of the acceleration from one step of 5 ms to the next that is a jolt; a person who stands has less than 1, and
taps beside a rigid sensor have 20 to 140 (BROAD trial 24, on this grid)."""
STEP_S, LONGEST_STEP_S = 0.005, 0.025
"""Of the grid, that a jolt is measured by; and what is no break yet."""
JOIN_S, LONGEST_S = 0.06, 0.15
"""Jolts nearer than that are one, which lasts no longer than this: a strap rings for a while."""
LEAST_APART_S, MOST_APART_S = 0.12, 0.6
"""From the beginning of the first tap to that of the second. Chosen; 0.6 s is what a player is told."""
BEFORE_S, AFTER_S = 0.4, 0.35
"""Stillness before the first and after the second. Chosen: there is none of it in a swing or a walk."""
RINGS_S = 0.1
"""After a jolt the tapped sensor itself may turn and swing for so long."""
STILL_RAD_S, STILL_M_S2 = 0.8, 2.5
"""Turn of every segment, and what its acceleration differs from that of rest. Chosen: a hand that goes to the thigh
takes the trunk along at some 30°/s."""
GRAVITY_M_S2 = 9.81
KEPT_S = BEFORE_S + MOST_APART_S + AFTER_S + 0.2
THIGHS = (Segment.LEFT_THIGH, Segment.RIGHT_THIGH)


@dataclass
class _Stretch:
    """The newest samples; S segments."""

    segments: tuple[Segment, ...]
    t_s: Floats
    acc_m_s2: Floats
    """(N, S, 3)"""
    gyr_rad_s: Floats
    ok: Bools
    """(N,) all of them."""

    @classmethod
    def of(cls, block: AlignedBlock) -> _Stretch:
        return cls(block.segments, block.t_s, block.acc_m_s2, block.gyr_rad_s, np.asarray(block.ok.all(axis=1)))

    def then(self, later: _Stretch) -> _Stretch:
        both = ((getattr(self, name), getattr(later, name)) for name in ("t_s", "acc_m_s2", "gyr_rad_s", "ok"))
        return _Stretch(self.segments, *(np.concatenate(pair) for pair in both))

    def newest(self) -> _Stretch:
        """What later samples may still make a tap of."""
        begin = int(np.searchsorted(self.t_s, self.t_s[-1] - KEPT_S))
        cut = (np.array(getattr(self, name)[begin:]) for name in ("t_s", "acc_m_s2", "gyr_rad_s", "ok"))
        return _Stretch(self.segments, *cut)


class Taps(Stage[AlignedBlock, Tapped]):
    """Double taps of the thighs' sensors."""

    _state: _Stretch | None

    def __init__(self) -> None:
        self._state = None

    def feed(self, item: AlignedBlock) -> list[Tapped]:
        if not len(item.t_s):
            return []
        new, before = _Stretch.of(item), self._state
        since_s = -np.inf if before is None else before.t_s.item(-1)
        whole = new if before is None or before.segments != new.segments else before.then(new)
        self._state = whole.newest()
        changes = np.linalg.norm(np.diff(whole.acc_m_s2, axis=0, prepend=whole.acc_m_s2[:1]), axis=2)
        steps = np.diff(whole.t_s, prepend=whole.t_s[0] - STEP_S)
        jolting = changes * (STEP_S / steps)[:, None] > JOLT_M_S2
        thighs = [whole.segments.index(one) for one in THIGHS if one in whole.segments]
        if not jolting[:, thighs].any():
            return []
        out = [tap for k in thighs for tap in _taps(whole, jolting, k) if tap.t_s > since_s]
        return sorted(out, key=lambda tap: tap.t_s)


def _taps(whole: _Stretch, jolting: Bools, k: int) -> list[Tapped]:
    """Double taps of one segment, each with the time of the step that decided it."""
    t_s = whole.t_s
    jolts = _jolts(t_s, jolting[:, k])
    out = []
    for (first, _), (second, _) in pairwise(jolts):
        decides = int(np.searchsorted(t_s, second + AFTER_S))
        begin_s = first - BEFORE_S
        if decides >= len(t_s) or begin_s < t_s[0] or not LEAST_APART_S <= second - first <= MOST_APART_S:
            continue
        here = slice(int(np.searchsorted(t_s, begin_s)), decides + 1)
        around = [one for one in jolts if one[1] >= begin_s and one[0] <= t_s[decides]]
        if (
            len(around) == 2
            and all(end - start <= LONGEST_S for start, end in around)
            and (_still(whole, jolting, k, here, around))
        ):
            out.append(Tapped(t_s.item(decides), whole.segments[k]))
    return out


def _jolts(t_s: Floats, jolting: Bools) -> list[tuple[float, float]]:
    """Beginning and end of each."""
    at = t_s[jolting]
    if not len(at):
        return []
    parts = np.split(at, np.flatnonzero(np.diff(at) > JOIN_S) + 1)
    return [(part.item(0), part.item(-1)) for part in parts]


def _still(whole: _Stretch, jolting: Bools, k: int, here: slice, jolts: list[tuple[float, float]]) -> bool:
    """Nothing is missing, no other sensor jolts, and all of them rest, the tapped one but for its jolts."""
    missing = np.diff(whole.t_s[here]).max() > LONGEST_STEP_S or not whole.ok[here].all()
    if missing or np.delete(jolting[here], k, axis=1).any():
        return False
    t_s = whole.t_s[here]
    turns = np.linalg.norm(whole.gyr_rad_s[here], axis=2) < STILL_RAD_S
    rests = np.abs(np.linalg.norm(whole.acc_m_s2[here], axis=2) - GRAVITY_M_S2) < STILL_M_S2
    still = turns & rests
    for start, end in jolts:
        still[(t_s >= start - 2 * STEP_S) & (t_s <= end + RINGS_S), k] = True
    return bool(still.all())
