"""Legs from the ground up: the chain closes, and drawn players stand and bend as asked."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.measure.drawn_reps import standing
from imufeedback.synth import chain
from imufeedback.synth.drawn import players, reps
from imufeedback.synth.grounded import IMPACT, TOP, moves


def col(value: float) -> np.ndarray:
    return np.array([[value]])


def stood(turn_deg: float = 0.0, give: float = 0.0, side: float = chain.TRAIL, height_m: float = 0.82) -> chain.Leg:
    pelvis = chain.Pelvis(*(col(np.deg2rad(one)) for one in (turn_deg, 0, 18)), col(-0.06), col(height_m), col(0.0))
    foot = chain.Foot(side, col(1.75), col(0.42), *(col(np.deg2rad(one)) for one in (10, 12)), col(give), col(0.7))
    return chain.leg(pelvis, foot, col(0.0), col(0.0))


def test_the_chain_closes_from_pelvis_to_ankle():
    """Forward along thigh and shank by the clinical angles ends at an ankle that has not moved."""
    for side in (chain.LEAD, chain.TRAIL):
        ends = []
        for turn_deg in (-40.0, 0.0, 45.0):
            one = stood(turn_deg, 0.6, side)
            pelvis = Rotation.from_euler("YZ", [turn_deg, -18], degrees=True)
            hip = np.array([-0.06, 0.82, 0.0]) + pelvis.apply([0, 0, side * chain.HALF_HIP * 1.75])
            angles = [one.flexion.item(), side * one.adduction.item(), side * one.rotation.item()]
            thigh = pelvis * Rotation.from_euler("ZXY", angles)
            shank = thigh * Rotation.from_euler("Z", -one.knee.item())
            ends.append(hip + thigh.apply([0, -chain.THIGH * 1.75, 0]) + shank.apply([0, -chain.SHANK * 1.75, 0]))
        assert np.ptp(ends, axis=0) == pytest.approx(np.zeros(3), abs=1e-9)
        assert ends[0][[1, 2]] == pytest.approx([chain.ANKLE_UP * 1.75, side * 0.21], abs=1e-9)


def test_only_the_give_sets_the_rotation():
    stiff, soft = (stood(40, give).rotation.item() - stood(-40, give).rotation.item() for give in (0.0, 0.8))
    assert np.rad2deg(stiff) == pytest.approx(-80, abs=16)
    assert abs(soft) < 0.5 * abs(stiff)
    assert np.rad2deg(stood(40, 0.8).flexion - stood(40, 0.0).flexion).item() == pytest.approx(0, abs=6)


def test_a_player_turned_about_is_the_mirror_image():
    """The trail leg of one is the lead leg of another who turns the other way: so one model serves both hands."""
    trail, lead = stood(25, 0.5, chain.TRAIL), stood(-25, 0.5, chain.LEAD)
    for name in ("flexion", "adduction", "rotation", "knee"):
        assert getattr(trail, name) == pytest.approx(getattr(lead, name), abs=1e-12)


def test_a_leg_that_cannot_reach_says_so():
    assert stood(height_m=0.95).reach.item() > 1
    assert stood(height_m=0.95).knee.item() < 0.1


def test_drawn_legs_stand_and_bend_as_asked():
    drawn = standing(np.random.default_rng(3), 50)
    made = moves(drawn)
    assert made.stands.all()
    assert np.rad2deg(made.trail.knee[:, TOP]) == pytest.approx(drawn.knee_trail_top, abs=0.5)
    free = np.rad2deg(made.lead.knee[:, IMPACT])
    assert np.median(np.abs(free - drawn.knee_lead_impact)) < 0.5


def test_legs_are_no_exact_mirrors_and_nothing_stands_still():
    made = moves(standing(np.random.default_rng(4), 20))
    down = slice(TOP + 2, IMPACT)
    assert (np.abs(made.lead.rotation + made.trail.rotation).max(axis=1) > np.deg2rad(1)).all()
    for angle in (made.lead.rotation, made.trail.rotation, made.trail.flexion):
        assert (np.abs(np.diff(angle[:, down], axis=1)) > 0).all()


def test_reps_of_a_player_share_feet_and_address():
    rng = np.random.default_rng(5)
    again = reps(rng, players(rng, 3), 4)
    assert len(again) == 12
    assert np.ptp(again.stance[:4]) == np.ptp(again.turn[:4, 0]) == np.ptp(again.forward[:4, 0]) == 0
    assert np.std(again.turn[:4, 2]) > 0.3
