"""Each kind of evidence by itself: what says nothing must not count."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from bodies import WORN, random_mounting
from fit_windows import acted, rad, stretches, striding
from scipy.spatial.transform import Rotation

from imufeedback.body.evidence import BOW_WEIGHT, SegmentEvidence, SegmentSamples, evidence, is_bow
from imufeedback.body.facing import ANGLES
from imufeedback.records import Segment
from imufeedback.synth.plan import STANDING

FRONT, BACK = int(np.argmin(np.abs(ANGLES))), 0
"""Numbers of "as it is" and "half a turn away"."""


def of(postures, *, turned: Mapping[Segment, float] | None = None, bow: bool = False) -> dict[Segment, SegmentEvidence]:
    """Evidence away from the true frames, or from frames that are turned (degrees, to the left)."""
    golfer, still, flex = postures
    mounting = random_mounting(4)
    rest, moving, whole = stretches(golfer, mounting, still, flex)
    frames = {
        one: (mounting[one] * Rotation.from_euler("y", (turned or {}).get(one, 0.0), degrees=True)).as_matrix()
        for one in WORN
    }
    moves = {one: SegmentSamples(one, frames[one], rest[one], moving[one], whole[one]) for one in WORN}
    return evidence(moves, bow=bow)


def through(*postures: Mapping, seconds: float = 0.8):
    return acted(*[(seconds, one) for one in postures])


def preference(one: SegmentEvidence) -> float:
    """How much more the front counts than the back."""
    return float(one.own[BACK] - one.own[FRONT])


BOW = rad(forward_tilt=40, trail_flexion=40, lead_flexion=40)
"""The pelvis tips over legs that stay upright."""
NOD = rad(forward_tilt=15, trail_flexion=15, lead_flexion=15)
LIFT = rad(trail_flexion=60, trail_knee=90)
CHAIR = rad(forward_tilt=-22, trail_flexion=58, lead_flexion=58, trail_knee=80, lead_knee=80)
"""Slouched: thighs 80° from standing, the pelvis tipped backward."""


def test_a_bow_tells_the_front_of_the_pelvis_and_a_nod_does_not():
    assert preference(of(through(BOW, STANDING, BOW, STANDING))[Segment.PELVIS]) == pytest.approx(BOW_WEIGHT)
    nod = of(through(NOD, STANDING, NOD, STANDING))[Segment.PELVIS]
    assert preference(nod) == 0.0
    assert not nod.bowed
    assert not nod.axis.any()


@pytest.mark.parametrize(("deg", "bow"), [(5, False), (15, False), (30, True)])
def test_a_bow_needs_an_amount(deg, bow):
    """A pelvis that nods about one axis alone, by whatever little, has all its power about it."""
    tilt = -np.deg2rad(deg) * 0.5 * (1 - np.cos(np.linspace(0, 6 * np.pi, 400)))
    assert is_bow(1.0, tilt) is bow
    assert not is_bow(0.7, tilt)


def test_a_pelvis_that_tips_on_the_way_to_a_chair_tells_nothing():
    sat = through(CHAIR, CHAIR, CHAIR, STANDING)
    assert preference(of(sat)[Segment.PELVIS]) == 0.0
    assert preference(of(sat, turned={Segment.PELVIS: 180.0})[Segment.PELVIS]) == 0.0
    assert not of(sat)[Segment.PELVIS].bowed


@pytest.mark.parametrize("movement", [(LIFT, STANDING, LIFT, STANDING), (CHAIR, CHAIR, STANDING)])
def test_a_thigh_that_tips_far_tells_its_front_whatever_it_was_taken_for(movement):
    for turned in (0.0, 180.0):
        found = of(through(*movement), turned={Segment.RIGHT_THIGH: turned})[Segment.RIGHT_THIGH]
        assert preference(found) * np.cos(np.deg2rad(turned)) > 25.0


def test_a_thigh_that_hardly_tips_tells_nothing():
    small = rad(trail_flexion=12, lead_flexion=12)
    found = of(through(small, STANDING, small, STANDING))[Segment.RIGHT_THIGH]
    assert not found.own.any()
    assert found.tipped_rad < np.deg2rad(15)


def test_strides_swing_further_forward():
    for one in (Segment.LEFT_THIGH, Segment.RIGHT_THIGH):
        assert preference(of(striding())[one]) > 9.0


def test_a_known_bow_counts_with_bent_legs_too():
    deep = rad(forward_tilt=45, trail_flexion=75, lead_flexion=75, trail_knee=40, lead_knee=40)
    movement = through(deep, STANDING, deep, STANDING)
    assert not of(movement)[Segment.PELVIS].bowed
    assert of(movement, bow=True)[Segment.PELVIS].bowed
