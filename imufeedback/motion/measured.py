"""A finished rep from its track: judged, or void when something that it needs was not known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from imufeedback.motion.doubts import Doubts
from imufeedback.motion.falling import falling
from imufeedback.motion.features import features
from imufeedback.motion.live import LiveLimits
from imufeedback.motion.phases import RepLimits
from imufeedback.motion.positions import impact_sd_s, positions_of
from imufeedback.motion.track import Col
from imufeedback.records import Floats, Hand, Rep

VOID_POSITIONS = ("address_s", "top_s", "finish_s")
"""What is still known of a rep that is not judged: when it was. They are made of the pelvis' turn alone."""


@dataclass(frozen=True, slots=True)
class Span:
    """What the phases saw of a rep; seconds."""

    furthest_s: float
    """Furthest turn away."""
    finish_s: float


def measured(
    rows: Floats,
    span: Span,
    doubts: Doubts,
    live: LiveLimits,
    limits: RepLimits,
    arm: Sequence[Floats],
    hand: Hand,
) -> Rep:
    """The rep, without its number and kind. `rows` is its track from the address on, `arm` what the forearm felt."""
    turns = rows[np.isfinite(rows[:, Col.TURN])]
    finish_s = span.finish_s
    positions, estimated = positions_of(turns, _top(turns, span.furthest_s), finish_s, _felt(arm, turns))
    begin_s = positions["address_s"]
    void = doubts.between(rows, begin_s, finish_s, hand)
    if void:
        blind = bool(((rows[:, Col.T] >= begin_s) & np.isnan(rows[:, Col.TURN])).any())
        kept = {} if blind else {name: positions[name] for name in VOID_POSITIONS}
        return Rep(0, "", begin_s, finish_s, kept, (), {}, void)
    rows = rows[~doubts.not_known(rows)]
    t = rows[:, Col.T]
    fall = falling(rows[(t >= positions["top_s"]) & (t <= finish_s)], limits.min_slope, live.target_rad)
    found = features(rows, positions, fall)
    if "impact_s" in estimated:
        found["impact_sd_s"] = impact_sd_s(rows, positions)
    if fall.flat_turn_rad > live.dead_turn_rad:
        found["trail_thigh_first_stall_s"] = fall.flat_from_s
        found["trail_thigh_first_stall_turn_deg"] = float(np.rad2deg(fall.flat_from_turn_rad))
        found["trail_thigh_first_stall_angle_deg"] = float(np.rad2deg(fall.flat_angle_rad))
    return Rep(0, "", begin_s, finish_s, positions, estimated, found)


def _felt(arm: Sequence[Floats], rows: Floats) -> Floats | None:
    if not arm:
        return None
    whole: Floats = np.concatenate(arm)
    here: Floats = whole[(whole[:, 0] >= rows[0, Col.T]) & (whole[:, 0] <= rows[-1, Col.T])]
    return here


def _top(rows: Floats, near_s: float) -> float:
    """Instant at which the turn rate changes sign, between the samples around the furthest turn."""
    t, rate = rows[:, Col.T], rows[:, Col.TURN_RATE]
    i = int(np.searchsorted(t, near_s))
    for j in (i - 1, i, i - 2, i + 1):
        if 0 <= j < len(t) - 1 and rate[j] <= 0 < rate[j + 1]:
            return float(t[j] - rate[j] * (t[j + 1] - t[j]) / (rate[j + 1] - rate[j]))
    return near_s
