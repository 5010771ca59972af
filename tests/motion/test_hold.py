"""Positions that are held: found where they are reached and held, with what they were like."""

from __future__ import annotations

import pickle

import numpy as np
import pytest
from swings import cut

from imufeedback.measure import exact
from imufeedback.motion.hold import HoldLimits, HoldStage
from imufeedback.records import Angles, Hand, Rep, Zeroed, same
from imufeedback.synth.practice import HalfWayStop, make_practice_script

HALF_WAY = HoldLimits(np.deg2rad(-12.0), np.deg2rad(-9.0), 2.5)


def angles(*stops: HalfWayStop, hand: Hand = Hand.RIGHT) -> Angles:
    script = make_practice_script(stops, hand=hand)
    return exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200)


def held(whole: Angles, hand: Hand = Hand.RIGHT) -> list[Rep]:
    stage = HoldStage(hand=hand)
    stage.use(HALF_WAY, kind="half-way-stop")
    return [rep for piece in cut(whole, 20) for rep in stage.feed(piece)]


@pytest.mark.parametrize("hand", Hand)
def test_a_stop_half_way_is_measured_where_it_is_held(hand: Hand) -> None:
    one, other = held(angles(HalfWayStop(), HalfWayStop(15.0, 6.0), hand=hand), hand)
    assert one.features["hold_pelvis_turn_deg"] == pytest.approx(0, abs=0.3)
    assert one.features["hold_side_tilt_deg"] == pytest.approx(0, abs=0.1)
    assert one.features["hold_s"] == pytest.approx(2.5, abs=0.02)
    assert one.features["hold_moved_deg"] < 0.5
    assert other.features["hold_pelvis_turn_deg"] == pytest.approx(15, abs=0.3)
    assert other.features["hold_side_tilt_deg"] == pytest.approx(6, abs=0.1)
    assert one.positions["begin_s"] < one.positions["held_s"] < one.positions["finish_s"]


def test_one_that_is_left_too_soon_is_told_with_the_time_it_was_held() -> None:
    (rep,) = held(angles(HalfWayStop(20.0, hold_s=1.0)))
    assert 0.9 < rep.features["hold_s"] < 1.6


def test_a_turn_that_does_not_stop_is_none() -> None:
    assert held(angles(HalfWayStop(20.0, hold_s=0.01))) == []


def test_a_zero_in_the_hold_takes_nothing_away() -> None:
    """Half way down looks like an address to the body."""
    whole = angles(HalfWayStop(6.0))
    (rep,) = held(whole)
    at = int(np.searchsorted(whole.t_s, rep.positions["held_s"] + 0.5))
    stage = HoldStage(hand=Hand.RIGHT)
    stage.use(HALF_WAY, kind="half-way-stop")
    found = stage.feed(whole.part(slice(0, at)))
    found += stage.feed(Zeroed(float(whole.t_s[at]), "stillness"))
    rest = whole.part(slice(at, len(whole.t_s)))
    turned = rest.pelvis.angle_rad.copy()
    turned[:, 0] -= np.deg2rad(6.0)
    rest = Angles(rest.t_s, type(rest.pelvis)(rest.t_s, turned, *(
        getattr(rest.pelvis, name) for name in ("rate_rad_s", "sd_rad", "ok"))), rest.joints)  # fmt: skip
    (again,) = found + stage.feed(rest)
    assert again.features["hold_pelvis_turn_deg"] == pytest.approx(6, abs=0.3)


def test_first_half_and_restored_state_and_second_half_are_the_whole() -> None:
    pieces = cut(angles(HalfWayStop()), 90)
    whole = HoldStage(hand=Hand.RIGHT)
    whole.use(HALF_WAY, kind="hold")
    expected = [rep for piece in pieces for rep in whole.feed(piece)]
    assert len(expected) == 1
    for at in range(0, len(pieces), 4):
        first, second = HoldStage(hand=Hand.RIGHT), HoldStage(hand=Hand.RIGHT)
        first.use(HALF_WAY, kind="hold")
        found = [rep for piece in pieces[:at] for rep in first.feed(piece)]
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [rep for piece in pieces[at:] for rep in second.feed(piece)]
        assert same(found, expected)
