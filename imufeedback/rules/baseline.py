"""What a player's own reps say of a feature: its middle and its spread."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

LEAST_REPS = 6
"""Fewer show no spread. A fault lies beyond four spreads (three, and the bar of one): of normal reps 0.7 % after a
baseline of six, 0.4 % after eight, 0.2 % after ten (20,000 draws each)."""
SPREADS = 3.0


@dataclass(frozen=True, slots=True)
class OwnValues:
    """Where a feature lies in the player's own reps."""

    low: float
    """`SPREADS` below the middle …"""
    high: float
    """… and above."""
    spread: float


def own(values: Sequence[float], least_spread: float) -> OwnValues | None:
    """Median and spread about it, no smaller than `least_spread`: few reps can be alike by chance. None for too few."""
    if len(values) < LEAST_REPS:
        return None
    middle = statistics.median(values)
    about = math.sqrt(sum((one - middle) ** 2 for one in values) / (len(values) - 1))
    spread = max(about, least_spread)
    return OwnValues(middle - SPREADS * spread, middle + SPREADS * spread, spread)


OVER_OWN = (
    *("trail_knee_flexion_impact_deg", "trail_hip_turn_out_deg", "pelvis_turn_finish_deg"),
    *("knees_cross_turn_share", "level_turn_share"),
)
"""Features that say more about a cause by how far they are above the middle of the player's own reps."""


def over_own_name(feature: str) -> str:
    """What a feature is called as that."""
    stem, _, unit = feature.rpartition("_")
    return f"{stem}_over_own_{unit}"


def over_own(features: Mapping[str, float], reps: Sequence[Mapping[str, float]]) -> Iterator[tuple[str, float]]:
    """Those of a rep, as features too; nothing after too few reps."""
    for name in OVER_OWN:
        before = [one[name] for one in reps if name in one]
        if name in features and len(before) >= LEAST_REPS:
            yield over_own_name(name), features[name] - statistics.median(before)
