"""Evidence on circles: the tree is solved exactly, and what comes of it says how sure it is."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.body import facing
from imufeedback.body.facing import ANGLES, STEPS, NeighbourEvidence, by_difference, half, line, nothing, solve, towards
from imufeedback.records import Segment

PELVIS, LEFT, RIGHT, SHANK = Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.RIGHT_SHANK


def deg(value: float) -> float:
    return float(np.deg2rad(value))


def alone(energy: np.ndarray, axis: np.ndarray | None = None):
    return solve({PELVIS: energy}, {PELVIS: nothing() if axis is None else axis}, [])[PELVIS]


def test_the_tree_is_solved_as_trying_everything_would():
    rng = np.random.default_rng(3)
    own = {one: 30 * rng.random(STEPS) for one in (PELVIS, LEFT, RIGHT, SHANK)}
    energies = [30 * rng.random((STEPS, STEPS)) for _ in range(3)]
    pairs = [
        NeighbourEvidence(p, d, e)
        for (p, d), e in zip(((PELVIS, LEFT), (PELVIS, RIGHT), (RIGHT, SHANK)), energies, strict=True)
    ]
    left = (energies[0] + own[LEFT][None]).min(axis=1)
    below = own[RIGHT] + (energies[2] + own[SHANK][None]).min(axis=1)
    right = (energies[1] + below[None]).min(axis=1)
    full = {
        PELVIS: own[PELVIS] + left + right,
        RIGHT: below + (energies[1] + (own[PELVIS] + left)[:, None]).min(axis=0),
    }
    found = solve(own, dict.fromkeys(own, nothing()), pairs)
    for one, energy in full.items():
        at = int(np.argmin(energy))
        assert abs(np.angle(np.exp(1j * (found[one].turn_rad - ANGLES[at])))) <= 4.01 * facing.STEP_RAD
        ring = np.abs(np.angle(np.exp(1j * (ANGLES - ANGLES[at]))))
        assert found[one].margin == pytest.approx(energy[ring > np.pi / 2 + 1e-9].min() - energy.min())


@pytest.mark.parametrize("sd_deg", [2.0, 5.0, 15.0])
@pytest.mark.parametrize("at_deg", [0.0, 37.3, -150.0, 179.5])
def test_one_direction_comes_back_with_its_bar(at_deg, sd_deg):
    found = alone(towards(deg(at_deg), deg(sd_deg)))
    assert np.degrees(np.angle(np.exp(1j * (found.turn_rad - deg(at_deg))))) == pytest.approx(0.0, abs=0.1)
    assert np.degrees(found.sd_rad) == pytest.approx(sd_deg, rel=0.1)


def test_a_line_does_not_know_its_front():
    assert alone(line(deg(3))).margin == 0.0
    assert alone(line(deg(3)) + half(16.0)).margin == 16.0
    turned = alone(line(deg(3)) + half(-16.0))
    assert abs(turned.turn_rad) == pytest.approx(np.pi)
    assert turned.margin == 16.0


def test_nothing_known_is_a_bar_of_half_a_turn():
    found = alone(nothing())
    assert found.sd_rad == np.pi
    assert found.margin == 0.0


def test_a_neighbour_tells_the_front():
    """A thigh knows its front, a pelvis only its line; their joint says that they face alike."""
    own = {PELVIS: line(deg(3)), LEFT: line(deg(3)) + half(30.0)}
    joint = NeighbourEvidence(PELVIS, LEFT, by_difference(towards(deg(180.0), deg(5))))
    found = solve(own, own, [joint])
    assert abs(found[PELVIS].turn_rad) == pytest.approx(np.pi, abs=deg(1)), "the joint says: half a turn apart"
    assert abs(found[LEFT].turn_rad) < deg(1)
    assert found[PELVIS].margin == pytest.approx(25.0, abs=0.5), "as much as one piece of evidence may count for"


def test_what_an_axis_says_against_the_rest_is_told():
    axis = line(deg(5))
    found = alone(axis + 9 * towards(deg(15), deg(5)), axis)
    assert 2.0 < found.pull < 3.0
