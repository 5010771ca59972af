"""How the trail thigh angle falls with the turn, over a whole downswing: longest stall, growth.

Looked at over even steps of turn, not of time, so that the same rep has the same numbers at every tempo. (The live
judgement in `live` cannot wait for the rep's end; it also needs milliseconds.)
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from imufeedback.motion.track import Col
from imufeedback.records import Floats

STEP_RAD = float(np.deg2rad(0.5))
SLOPE_SD = 0.034
"""Standard deviation of the slope, degrees for a degree of turn: what is left of misalignment and cross-axis
sensitivity of typical sensors lets the turn leak into the thigh angle. Measured on synthetic players."""


@dataclass(frozen=True, slots=True)
class Falling:
    """What the downswing shows until the angle has reached its target; rad and s."""

    flat_turn_rad: float
    """Longest stall: stretch of turn in which the angle falls by less than the least slope."""
    flat_from_s: float
    flat_from_turn_rad: float
    flat_angle_rad: float
    """Trail thigh angle at that stretch's end."""
    flat_sd_rad: float
    """How much shorter it is when the slope is one standard deviation better …"""
    flat_up_sd_rad: float
    """… and how much longer when it is one worse."""
    growth_rad: float
    """Largest growth above the lowest angle before it."""
    growth_from_s: float


def falling(down: Floats, min_slope: float, target_rad: float) -> Falling:
    """`down` holds the rows of a track from the top to the finish, the turn rising but for moments."""
    turn, t = _rising(down[:, Col.TURN]), down[:, Col.T]
    grid = np.arange(turn[0], turn[-1], STEP_RAD)
    if len(grid) < 3:
        return Falling(0.0, float(t[0]), float(turn[0]), float(down[0, Col.TRAIL_THIGH]), 0.0, 0.0, 0.0, float(t[0]))
    angle = np.interp(grid, turn, down[:, Col.TRAIL_THIGH])
    due = np.minimum.accumulate(angle)[:-1] > target_rad
    slope = -np.diff(angle) / STEP_RAD
    first, length = _longest((slope < min_slope) & due)
    _, surely = _longest((slope < min_slope - SLOPE_SD) & due)
    _, perhaps = _longest((slope < min_slope + SLOPE_SD) & due)
    lowest = np.minimum.accumulate(angle)
    grown = np.where(np.append(due, False), angle - lowest, 0.0)
    peak = int(np.argmax(grown))
    low = int(np.argmin(angle[: peak + 1]))
    return Falling(
        flat_turn_rad=length * STEP_RAD,
        flat_from_s=_when(grid[first], turn, t),
        flat_from_turn_rad=float(grid[first]),
        flat_angle_rad=float(angle[min(first + length, len(angle) - 1)]),
        flat_sd_rad=float(np.hypot(length - surely, 1.0)) * STEP_RAD,
        flat_up_sd_rad=float(np.hypot(perhaps - length, 1.0)) * STEP_RAD,
        growth_rad=float(grown[peak]),
        growth_from_s=_when(grid[low], turn, t),
    )


def _rising(turn: Floats) -> Floats:
    """The furthest turn so far, a hair apart, so that it can be turned round."""
    out: Floats = np.maximum.accumulate(turn) + 1e-9 * np.arange(len(turn))
    return out


def _when(at_turn: float, turn: Floats, t: Floats) -> float:
    return float(np.interp(at_turn, turn, t))


def _longest(holds: np.ndarray) -> tuple[int, int]:
    """Start and length of the longest run of true values."""
    edges = np.diff(np.concatenate([[0], holds.astype(np.int8), [0]]))
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if not len(starts):
        return 0, 0
    i = int(np.argmax(ends - starts))
    return int(starts[i]), int(ends[i] - starts[i])
