"""Phases of a rep as a table.

Every phase has its ways out, tried in order; the first whose condition holds is taken. Conditions look at the latest
step and at what the rep has shown so far (`RepProgress`), nothing else; they hold for columns of many steps as for one
(`quiet.py`). Conditions on turn are in degrees of pelvis turn and so hold at any tempo.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeAlias

from imufeedback.records import Phase

LEAVE_RAD = math.radians(4.0)
"""Turn that counts as having left the address; breathing and waggling stay below."""
REVERSED_RAD = math.radians(1.0)
"""Turn back from the furthest point that counts as a reversal."""
LATE_TURN_RAD = math.radians(40.0)
"""About where the pelvis is at impact (42 ± 12 degrees: Zheng et al. 2008): the through-swing begins here live."""
STOPPED_SHARE, STOPPED_RAD_S, STOPPED_S = 0.04, math.radians(3.0), 0.10
FAST_RAD_S = math.radians(200.0)
"""Back so fast is no rest either. Chosen."""
STUCK_S = 4.0
"""A downswing that rests for so long on its way was given up."""
LOST_S = 0.2
"""The turn of the pelvis not known for so long ends a rep."""
RISEN_RAD = math.radians(12.0)
"""Both thighs less flexed than at address before any downswing: the player has stood up. At the top the lead thigh is
flexed more (common practice, no source)."""
FURTHEST_RAD = math.radians(80.0)
"""No pelvis turns so far away in a backswing: 49 ± 8 degrees (women, Zheng et al. 2008)."""
ODD_BENT_RAD, ODD_BEHIND_RAD = math.radians(45.0), math.radians(90.0)
"""A thigh so much more flexed than at address belongs to a step, a squat or a seat, and so much less to no swing. None
of 500 players drawn from published values (`synth/drawn.py`) bends a thigh by more than 20 degrees; the trail thigh
goes back by 44 in the middle and by 79 at most."""


@dataclass(frozen=True, slots=True)
class RepLimits:
    """What a rep must show; from the rule set."""

    min_backswing_rad: float = math.radians(15.0)
    """0: a rep may also set off towards the target from its address, without a backswing."""
    min_through_rad: float = math.radians(35.0)
    max_s: float = 25.0
    min_slope: float = 0.11
    """Loss of trail thigh angle for the turn, looked at over the finished rep."""


Quantity: TypeAlias = Any
"""A number, or a column of them."""
Truth: TypeAlias = Any
"""Likewise."""


@dataclass
class RepProgress:
    """What the present rep has shown so far; turn in rad, + towards the target."""

    t_s: Quantity = 0.0
    since_s: Quantity = 0.0
    """When the rep left its address."""
    turn: Quantity = 0.0
    turn_rate: Quantity = 0.0
    furthest_away: Quantity = 0.0
    furthest_s: Quantity = 0.0
    furthest_thigh: Quantity = 0.0
    """Trail thigh angle there."""
    fastest: Quantity = 0.0
    """Largest turn rate towards the target."""
    slow_since_s: Quantity = math.nan
    lost_since_s: Quantity = math.nan
    """Since when the turn has practically stopped, and not been known; NaN while neither is so."""
    bent: Quantity = 0.0
    """How far the one thigh is more flexed than at address …"""
    behind: Quantity = 0.0
    """… and the other one less."""
    risen: Quantity = 0.0
    """How far both thighs are less flexed than at address; below 0 when one is not."""


Condition = Callable[[RepProgress, RepLimits], Truth]


def _left_away(s: RepProgress, limits: RepLimits) -> Truth:
    return s.turn < -LEAVE_RAD


def _left_forward(s: RepProgress, limits: RepLimits) -> Truth:
    return s.turn > 2 * LEAVE_RAD


def _sets_off(s: RepProgress, limits: RepLimits) -> Truth:
    return (limits.min_backswing_rad == 0.0) & (s.turn > LEAVE_RAD)


def _reversed(s: RepProgress, limits: RepLimits) -> Truth:
    far = s.furthest_away <= -limits.min_backswing_rad
    return far & (s.turn_rate > 0) & (s.turn - s.furthest_away >= REVERSED_RAD)


def _came_back(s: RepProgress, limits: RepLimits) -> Truth:
    return (s.furthest_away > -limits.min_backswing_rad) & (s.turn > -LEAVE_RAD / 2)


def _went_on_back(s: RepProgress, limits: RepLimits) -> Truth:
    return s.turn < s.furthest_away - REVERSED_RAD


def _late(s: RepProgress, limits: RepLimits) -> Truth:
    return s.turn >= LATE_TURN_RAD


def _stopped(s: RepProgress, limits: RepLimits) -> Truth:
    return s.t_s - s.slow_since_s >= STOPPED_S


def _stopped_through(s: RepProgress, limits: RepLimits) -> Truth:
    return _stopped(s, limits) & (s.turn - s.furthest_away >= limits.min_through_rad)


def _came_home(s: RepProgress, limits: RepLimits) -> Truth:
    return _stopped(s, limits) & (abs(s.turn) < 2 * LEAVE_RAD) & (s.turn - s.furthest_away > LEAVE_RAD)


def _stuck(s: RepProgress, limits: RepLimits) -> Truth:
    return s.t_s - s.slow_since_s >= STUCK_S


def _gave_up(s: RepProgress, limits: RepLimits) -> Truth:
    return (s.turn_rate < 0) & (s.turn < -LEAVE_RAD) & (s.fastest > 0) & _stopped(s, limits)


def _stood_up(s: RepProgress, limits: RepLimits) -> Truth:
    return (s.risen > RISEN_RAD) | (s.furthest_away < -FURTHEST_RAD)


def is_odd(s: RepProgress) -> Truth:
    """Whether the thighs have moved as in no swing: a step, a squat, standing up."""
    return (s.bent > ODD_BENT_RAD) | (s.behind > ODD_BEHIND_RAD)


def _no_rep(s: RepProgress, limits: RepLimits) -> Truth:
    return (s.t_s - s.since_s > limits.max_s) | is_odd(s) | (s.t_s - s.lost_since_s > LOST_S)


TRANSITIONS: dict[Phase, tuple[tuple[Condition, Phase], ...]] = {
    Phase.WAITING: (),  # left by zeroing at an address only
    Phase.ADDRESS: (
        (_stood_up, Phase.WAITING),
        (_left_away, Phase.BACKSWING),
        (_sets_off, Phase.DOWNSWING),
        (_left_forward, Phase.WAITING),
    ),
    Phase.BACKSWING: (
        (_no_rep, Phase.WAITING),
        (_stood_up, Phase.WAITING),
        (_reversed, Phase.DOWNSWING),
        (_came_back, Phase.ADDRESS),
    ),
    Phase.DOWNSWING: (
        (_no_rep, Phase.WAITING),
        (_went_on_back, Phase.BACKSWING),
        (_late, Phase.THROUGH_SWING),
        (_stopped_through, Phase.FINISH),
        (_came_home, Phase.ADDRESS),
        (_gave_up, Phase.WAITING),
        (_stuck, Phase.WAITING),
    ),
    Phase.THROUGH_SWING: ((_no_rep, Phase.WAITING), (_stopped, Phase.FINISH)),
    Phase.FINISH: (),  # the rep is measured and the stage goes back to waiting
}


def next_phase(phase: Phase, seen: RepProgress, limits: RepLimits) -> Phase:
    """The phase after this step; the same one when no way out is open."""
    for condition, target in TRANSITIONS[phase]:
        if condition(seen, limits):
            return target
    return phase


def is_slow(turn_rate: Quantity, fastest: Quantity) -> Truth:
    """Whether the turn has practically stopped, measured against the rep's own speed."""
    return ((turn_rate < STOPPED_SHARE * fastest) | (turn_rate < STOPPED_RAD_S)) & (turn_rate > -FAST_RAD_S)
