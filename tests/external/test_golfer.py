"""The synthetic golfer's exact truth, through everything from packets to findings."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest

from imufeedback.constants import normal_gravity_m_s2
from imufeedback.measure import golfer
from imufeedback.measure.golfer import Played
from imufeedback.measure.swingers import TARGETS
from imufeedback.records import Hand
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import GRAVITY_M_S2, WORN, default_places, measure
from imufeedback.synth.swing import Flaw

STALL_RULES = {"trail-thigh-keeps-falling", "trail-thigh-never-grows"}


@cache
def played(pace: Pace, flaw: Flaw, hand: Hand = Hand.RIGHT, seed: int = 1) -> Played:
    segments = SEGMENTS if flaw is Flaw.NONE else WORN
    script = make_script(hand=hand, pace=pace, flaw=flaw, reps=1, seed=seed)
    return golfer.play(script, segments, TARGETS)


@pytest.mark.parametrize("pace", Pace)
@pytest.mark.parametrize(("hand", "seed"), [(Hand.RIGHT, 1), (Hand.LEFT, 2)])
def test_without_noise_all_angles_are_within_half_a_degree(pace: Pace, hand: Hand, seed: int) -> None:
    errors = golfer.angle_errors_deg(played(pace, Flaw.NONE, hand, seed))
    assert len(errors) == 3 + 2 * 3 + 2
    assert {name: rms for name, error in errors.items() if not (rms := golfer.rms(error)) <= 0.5} == {}


@pytest.mark.parametrize("flaw", [Flaw.STALL, Flaw.PUSH_BACK, Flaw.HIGH_KNEE])
def test_the_first_stall_is_seen_where_it_begins(flaw: Flaw) -> None:
    session = played(Pace.SLOW, flaw)
    for truth in session.script.truth.reps:
        assert abs(golfer.onset_error_s(session, truth)) <= 0.100


@pytest.mark.parametrize("pace", Pace)
@pytest.mark.parametrize("flaw", [Flaw.STALL, Flaw.HIGH_KNEE, Flaw.PUSH_BACK])
def test_every_rep_with_a_flaw_of_the_trail_thigh_has_a_stall_finding(flaw: Flaw, pace: Pace) -> None:
    session = played(pace, flaw)
    assert len(session.reps) == 1
    for rep in session.reps:
        assert {one.rule for one in session.findings(rep)} & STALL_RULES


@pytest.mark.parametrize("pace", Pace)
@pytest.mark.parametrize(("hand", "seed"), [(Hand.RIGHT, 1), (Hand.LEFT, 2)])
def test_a_rep_without_a_flaw_has_no_finding(pace: Pace, hand: Hand, seed: int) -> None:
    session = played(pace, Flaw.NONE, hand, seed)
    assert [session.findings(rep) for rep in session.reps] == [[]]


@pytest.mark.parametrize("pace", Pace)
def test_a_block_like_turn_is_found_in_the_hips_only(pace: Pace) -> None:
    session = played(pace, Flaw.LEG_TURN)
    for rep in session.reps:
        assert {one.rule for one in session.findings(rep)} == {"turns-in-the-hips", "lead-hip-turns-in"}


def test_marks_are_where_they_are() -> None:
    for pace in Pace:
        session = played(pace, Flaw.NONE)
        for rep, truth in zip(session.reps, session.script.truth.reps, strict=True):
            assert rep.positions["top_s"] == pytest.approx(truth.top_s, abs=0.01)
            assert rep.positions["level_s"] == pytest.approx(truth.level_s, abs=0.05)
            assert "impact_s" in rep.estimated


def test_a_sensor_at_rest_measures_gravity() -> None:
    """WGS84 normal gravity (NIMA TR8350.2): 9.780325 at the equator, 9.832185 at the poles, 9.8107 at 50°."""
    assert normal_gravity_m_s2(0.0) == pytest.approx(9.7803253359, abs=1e-9)
    assert normal_gravity_m_s2(math.pi / 2) == pytest.approx(9.8321849, abs=1e-6)
    script = make_script(reps=0, seed=1)
    pose = script.golfer.pose(np.array([0.5, 1.0]))
    for place in default_places(1, SEGMENTS).values():
        gyr, acc = measure(pose, place)
        np.testing.assert_allclose(gyr, 0.0, atol=1e-12)
        np.testing.assert_allclose(np.linalg.norm(acc, axis=1), GRAVITY_M_S2, atol=1e-9)
    assert normal_gravity_m_s2(math.radians(50)) == GRAVITY_M_S2 == pytest.approx(9.8107, abs=1e-4)
