"""Which still poses are an address, and what a zero sets."""

from __future__ import annotations

import numpy as np
import pytest
from bodies import AHEAD, DOWN, LEFT, STANDING, UP, carry
from scipy.spatial.transform import Rotation

from imufeedback.body import jcs, pelvis
from imufeedback.body.matrices import about_vertical
from imufeedback.body.zeroing import is_address, zero_at
from imufeedback.records import Segment


@pytest.mark.parametrize(
    ("words", "tilt", "thighs", "expected"),
    [
        ("a usual address", 18, (30, 30), True),
        ("a deep address", 40, (60, 55), True),
        ("a slight bend", 7, (9, 9), True),
        ("quiet standing", 0, (0, 0), False),
        ("leaning a little", 5, (6, 6), False),
        ("sitting, rolled back", -22, (58, 56), False),
        ("sitting upright", 0, (85, 85), False),
        ("bent over from a seat", 30, (110, 110), False),
        ("one leg straight behind", 20, (-5, 40), False),
        ("one knee up", 10, (90, 15), False),
        ("picking up the ball", 80, (90, 90), False),
    ],
)
def test_address_or_not(words, tilt, thighs, expected):
    assert is_address(np.deg2rad(tilt), np.deg2rad(thighs)) is expected, words


def test_a_zero_brings_every_earth_into_the_pelvis_earth():
    """Each sensor with a heading of its own; the pose has no hip or knee rotation, so headings can be told exactly."""
    flexed = {
        Segment.PELVIS: carry(UP, AHEAD, 15),
        Segment.LEFT_THIGH: carry(DOWN, AHEAD, 25),
        Segment.RIGHT_THIGH: carry(DOWN, AHEAD, 20),
        Segment.LEFT_SHANK: carry(DOWN, -AHEAD, 5),
        Segment.RIGHT_SHANK: carry(DOWN, -AHEAD, 10),
    }
    headings = dict(zip(flexed, (33.0, -70.0, 150.0, 10.0, -170.0), strict=True))
    R_eb = {
        one: (Rotation.from_euler("z", headings[one], degrees=True) * motion).as_matrix() @ STANDING
        for one, motion in flexed.items()
    }
    zero = zero_at(R_eb, 0.1, 7.0)
    assert zero.t_s == 7.0
    assert zero.heading_sd_rad == 0.1
    assert pelvis.turn(R_eb[Segment.PELVIS], zero.pelvis_rad) == pytest.approx(0, abs=1e-9)
    assert set(zero.of) == set(flexed) - {Segment.PELVIS}
    for one, turn in zero.of.items():
        expected = headings[Segment.PELVIS] - headings[one]
        assert np.cos(turn - np.deg2rad(expected)) == pytest.approx(1.0), one


def test_a_zero_of_a_turned_out_foot_takes_the_rotation_out():
    """What zeroing means: the rotation of this pose counts as zero from here on."""
    P = (carry(AHEAD, LEFT, 10) * carry(UP, AHEAD, 18)).as_matrix() @ STANDING
    T = (carry(AHEAD, -LEFT, 20) * carry(DOWN, AHEAD, 12)).as_matrix() @ STANDING
    zero = zero_at({Segment.PELVIS: P, Segment.RIGHT_THIGH: T}, 0.0, 0.0)
    assert abs(jcs.angles(P.T @ T)[2]) > 0.3
    found = jcs.angles(P.T @ about_vertical(zero.of[Segment.RIGHT_THIGH]) @ T)
    assert found[2] == pytest.approx(0, abs=1e-9)
    assert abs(found[1]) < np.deg2rad(15)  # and not by turning the leg back to front
