"""The exact instants of one rep, found on its profiles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from imufeedback.records import Floats
from imufeedback.synth.flaws import Amiss, Flaw
from imufeedback.synth.plan import Channel
from imufeedback.synth.swing import Swing

STALL_SLOPE = -0.11
"""Degrees of trail thigh angle per degree of turn above which the angle has stalled: as the shipped rule sets say."""
STALL_TURN_RAD = float(np.deg2rad(4.0))
"""Turn over which that must last."""
TARGET_RAD = 0.0
"""Trail thigh angle that ends the duty to fall."""


@dataclass(frozen=True, slots=True)
class RepTruth:
    """Instants of one rep, in seconds of session time."""

    index: int
    start_s: float
    """Address is reached: still from here to `address_s`."""
    address_s: float
    """The turn leaves address."""
    top_s: float
    """The turn reverses."""
    level_s: float
    """Side tilt crosses zero in the downswing."""
    impact_s: float
    finish_s: float
    """The turn comes to rest."""
    stall_s: float | None
    """The trail thigh angle stops falling (slope above -0.11 for 4° of turn or more) before it has come down to 0;
    None when it falls as it should. An angle that grows from the top on stalls at the top."""
    amiss: tuple[Amiss, ...]
    """Its flaws, the cause first."""

    @property
    def flaw(self) -> Flaw:
        """The cause."""
        return self.amiss[0].flaw if self.amiss else Flaw.NONE


def rep_truth(index: int, start_s: float, swing: Swing) -> RepTruth:
    """The truth of one rep."""
    return RepTruth(
        index=index,
        start_s=start_s,
        address_s=swing.address_s,
        top_s=swing.top_s,
        level_s=_level(swing),
        impact_s=swing.impact_s,
        finish_s=swing.finish_s,
        stall_s=_stall(swing),
        amiss=swing.amiss,
    )


def _level(swing: Swing) -> float:
    """When the hips come level; the top where they are level already, the finish where they never are."""
    tilt = swing.pieces[1].profiles[Channel.SIDE_TILT]

    def at(t_s: float) -> float:
        return float(tilt.value(np.array([t_s]))[0])

    if at(swing.top_s) >= 0.0:
        return swing.top_s
    if at(swing.finish_s) <= 0.0:
        return swing.finish_s
    return float(brentq(at, swing.top_s, swing.finish_s, xtol=1e-9))


def _stall(swing: Swing) -> float | None:
    t = np.linspace(swing.top_s, swing.finish_s, 20_001)
    turn = swing.turn.value(t)
    due = np.minimum.accumulate(swing.thigh.value(turn)) > TARGET_RAD
    return first_lasting(t, turn, (swing.thigh.rate(turn) > STALL_SLOPE) & due)


def first_lasting(t_s: Floats, turn_rad: Floats, holds: np.ndarray) -> float | None:
    """First instant from which `holds` (N,) lasts while the turn grows by `STALL_TURN_RAD`; None when there is none."""
    edges = np.diff(np.concatenate([[0], holds.astype(np.int8), [0]]))
    for first, after in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        if turn_rad[after - 1] - turn_rad[first] >= STALL_TURN_RAD:
            return float(t_s[first])
    return None
