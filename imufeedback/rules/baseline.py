"""What a player's own reps say of a feature: its middle and its spread."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

LEAST_REPS = 6
"""Fewer show no spread. A fault lies beyond four spreads (three, and the bar of one): of normal reps 0.7 % after a
baseline of six, 0.4 % after eight, 0.2 % after ten (20,000 draws each)."""
SPREADS = 3.0


@dataclass(frozen=True, slots=True)
class Own:
    """Where a feature lies in the player's own reps."""

    low: float
    """`SPREADS` below the middle …"""
    high: float
    """… and above."""
    spread: float


def own(values: Sequence[float], least_spread: float) -> Own | None:
    """Median and spread about it, no smaller than `least_spread`: few reps can be alike by chance. None for too few."""
    if len(values) < LEAST_REPS:
        return None
    middle = statistics.median(values)
    about = math.sqrt(sum((one - middle) ** 2 for one in values) / (len(values) - 1))
    spread = max(about, least_spread)
    return Own(middle - SPREADS * spread, middle + SPREADS * spread, spread)
