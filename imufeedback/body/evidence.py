"""What speaks for which direction of one segment, by itself. No piece of it knows of the others; `facing.py` weighs.

* the line of the axis that the segment turned about, blind to front and back, as sure as its movement was about one
  axis;
* a thigh: people lift it far forward and not far back; and where it tipped when it tipped far was forward;
* the pelvis: people bow forward; but only what is a bow by its amount, and while the legs stay upright, tells so: on
  the way to a chair and in slouching a pelvis tips backward;
* a shank swings further back than forward.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.body import facing
from imufeedback.body.functional_axis import axis_sd_rad, functional_axis, tilt_about, tipped_rad
from imufeedback.body.matrices import up_of
from imufeedback.body.stretch import WindowSamples
from imufeedback.records import Floats, Segment

THIGHS = (Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
SHANKS = (Segment.LEFT_SHANK, Segment.RIGHT_SHANK)
BOW_SHARE = 0.85
"""Below this share of one horizontal axis in the pelvis' motion it was no bow."""
BOW_RAD = float(np.deg2rad(20.0))
"""A bow tips the pelvis by more; in walking and lunging it nods by up to 15°."""
NOD_RAD, WEAK_SD_RAD = float(np.deg2rad(12.0)), float(np.deg2rad(20.0))
"""A smaller tip, or one about no single axis, says so little about the line; less than the first, nothing. Chosen."""
UPRIGHT = 0.5
"""In a bow the thighs tip by less than this part of the pelvis. Chosen."""
BOW_WEIGHT = 16.0
"""Of a bow's direction: four standard deviations."""
LEAN_WEIGHT = 4.0
"""Of a tipped pelvis' direction when nobody sat: two. Chosen."""
SAT_RAD, SAT_S = float(np.deg2rad(45.0)), 1.2
"""A thigh tipped so far for so long is that of somebody who sits or stays in a squat. Chosen."""
LEAST_FLEXION_RAD = float(np.deg2rad(25.0))
"""A thigh that tips less may have done anything: its axis does not count."""
EXTENDS_RAD, EXTENDS_SD_RAD = float(np.deg2rad(25.0)), float(np.deg2rad(6.0))
"""Backward a thigh tips by less than 25°, 17° in brisk walking; beyond, with this standard deviation."""
TIPS_RAD, TIPS_SD_RAD, TIPS_S = float(np.deg2rad(25.0)), float(np.deg2rad(25.0)), 0.2
"""Where a thigh tips further than the first is forward within the second; it must do so for as long as the third."""
THIGH_SD_RAD, SHANK_SD_RAD = float(np.deg2rad(12.0)), float(np.deg2rad(15.0))
"""A thigh swings further forward than back, a shank further back, by so many standard deviations …"""
ASYMMETRY_MOST = 9.0
"""… which count for at most so much: three."""


@dataclass(frozen=True, slots=True)
class SegmentSamples:
    """One segment's samples, and its frame as first guessed."""

    segment: Segment
    R: Floats
    """(3, 3) segment to sensor."""
    still: WindowSamples
    flex: WindowSamples
    whole: WindowSamples

    def tilt(self, stretch: WindowSamples) -> Floats:
        """(N,) about its own z, away from standing."""
        return tilt_about(self.R[:, 2], self.R[:, 1], stretch.q_es)

    def during(self, other: WindowSamples) -> WindowSamples:
        """Its samples between the first and the last one of another stretch."""
        return self.whole.rows((self.whole.t_s >= other.t_s[0]) & (self.whole.t_s <= other.t_s[-1]))


@dataclass(frozen=True, slots=True)
class SegmentEvidence:
    """About one segment."""

    own: Floats
    """(STEPS,) all of it."""
    axis: Floats
    """(STEPS,) the part that its axis is."""
    share: float
    """Part of its movement that was about the axis."""
    tipped_rad: float
    tips: Floats
    """(STEPS,) the part that the directions are in which it tipped far."""
    bowed: bool = False
    """It says itself where its front is, by a bow."""


def evidence(moves: Mapping[Segment, SegmentSamples], *, bow: bool) -> dict[Segment, SegmentEvidence]:
    """Of every segment by itself; `bow` says that the pelvis' movement was asked for and recognised as one."""
    out: dict[Segment, SegmentEvidence] = {}
    for segment, one in moves.items():
        if segment is Segment.PELVIS:
            out[segment] = _of_pelvis(one, [moves[each] for each in THIGHS if each in moves], bow=bow)
        elif segment in THIGHS:
            out[segment] = _of_thigh(one)
        else:
            out[segment] = _of_other(one)
    return out


def is_bow(share: float, tilt: Floats) -> bool:
    """Whether a pelvis' movement with so much of it about one axis, and its (N,) tilt about it, is a bow."""
    return share >= BOW_SHARE and _range(tilt) > BOW_RAD


def _of_pelvis(one: SegmentSamples, thighs: list[SegmentSamples], *, bow: bool) -> SegmentEvidence:
    share, tilt = _share(one), one.tilt(one.flex)
    known = is_bow(share, tilt)
    sd = axis_sd_rad(one.segment, share)
    axis = facing.line(sd) if known else facing.nothing()
    weak = facing.line(max(sd, WEAK_SD_RAD)) if not known and _range(tilt) > NOD_RAD else facing.nothing()
    forward = -float(np.percentile(tilt, 2))
    upright = bow or all(_most(each.tilt(each.during(one.flex))) < UPRIGHT * forward for each in thighs)
    weight = 0.0
    if known and upright:
        weight = BOW_WEIGHT
    elif known and not any(_sat(each) for each in thighs):
        weight = LEAN_WEIGHT
    return SegmentEvidence(
        axis + weak + facing.half(weight),
        axis,
        share,
        tipped_rad(one.still, one.flex),
        facing.nothing(),
        known and upright,
    )


def _of_thigh(one: SegmentSamples) -> SegmentEvidence:
    share, tipped = _share(one), tipped_rad(one.still, one.flex)
    tips = _tips(one)
    if tipped < LEAST_FLEXION_RAD:
        # the axis of what is no flexion says nothing; the hip, and where it tipped at other times, may
        return SegmentEvidence(tips, facing.nothing(), share, tipped, tips)
    axis = facing.line(axis_sd_rad(one.segment, share))
    return SegmentEvidence(axis + facing.half(_lifted(one.tilt(one.whole))) + tips, axis, share, tipped, tips)


def _of_other(one: SegmentSamples) -> SegmentEvidence:
    share = _share(one)
    axis = facing.line(axis_sd_rad(one.segment, share))
    # a forearm has no joint here: where its movement says
    weight = _further(-one.tilt(one.whole), SHANK_SD_RAD) if one.segment in SHANKS else BOW_WEIGHT
    tipped = tipped_rad(one.still, one.flex)
    return SegmentEvidence(axis + facing.half(weight), axis, share, tipped, facing.nothing())


def _share(one: SegmentSamples) -> float:
    return functional_axis(one.segment, one.R[:, 1], one.flex, needed=False).share


def _most(tilt: Floats) -> float:
    """Either way; without a sample, anything may have been."""
    return float(np.percentile(np.abs(tilt), 95)) if len(tilt) else np.inf


def _range(tilt: Floats) -> float:
    """From the one side to the other, standing included."""
    least, most = np.percentile(tilt, (2, 98)).tolist()
    return float(max(most, 0.0) + max(-least, 0.0))


def _lifted(tilt: Floats) -> float:
    """Weight of a thigh's direction: it tips far forward and not far back."""
    least, there = np.percentile(tilt, (2, 98)).tolist()

    def beyond(value: float) -> float:
        return min((max(value - EXTENDS_RAD, 0.0) / EXTENDS_SD_RAD) ** 2, facing.ROBUST)

    return beyond(there) - beyond(-least) + _further(tilt, THIGH_SD_RAD)


def _further(tilt: Floats, sd_rad: float) -> float:
    """Weight of a direction: it swings further there than back."""
    more = float(np.percentile(tilt, (2, 98)).sum())
    return float(np.sign(more)) * min((more / sd_rad) ** 2, ASYMMETRY_MOST)


def _tips(one: SegmentSamples) -> Floats:
    """(STEPS,) where a thigh tips to when it tips far is forward."""
    up = up_of(one.whole.q_es) @ one.R
    far = up[:, 1] < np.cos(TIPS_RAD)
    if far.sum() < TIPS_S * one.whole.rate_hz:
        return facing.nothing()
    to = np.sum((up[far, 0] - 1j * up[far, 2]) * np.hypot(up[far, 0], up[far, 2]))
    return facing.towards(float(np.angle(to)), TIPS_SD_RAD)


def _sat(one: SegmentSamples) -> bool:
    """Tipped as a thigh of somebody who sits, for so long."""
    tipped = np.abs(one.tilt(one.whole)) > SAT_RAD
    count = round(SAT_S * one.whole.rate_hz)
    for piece in one.whole.pieces:
        runs = np.diff(np.flatnonzero(np.r_[True, ~tipped[piece], True])) - 1
        if runs.max() >= count:
            return True
    return False
