"""Hip turns over a standing leg: what is found, how far, and what the standing thigh did."""

from __future__ import annotations

import pickle
from dataclasses import replace

import numpy as np
import pytest
from swings import cut

from imufeedback.measure import exact
from imufeedback.motion.hip_turn import HipTurnStage
from imufeedback.records import Angles, Hand, Rep, same
from imufeedback.synth.script import make_hip_turn_script, make_idle_script


def turns(side: str, *, hand: Hand = Hand.RIGHT, share: float = 1.0, turns_deg=(30.0, -24.0)) -> list[Rep]:
    script = make_hip_turn_script(hand=hand, turns_deg=turns_deg, share=share)
    stage = HipTurnStage(hand=hand)
    stage.use(side=side, least_rad=np.deg2rad(12), kind="hip-turn")
    whole = exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200)
    return [rep for piece in cut(whole, 20) for rep in stage.feed(piece)]


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize(("side", "kinds"), [("lead", ["in", "out"]), ("trail", ["out", "in"])])
def test_turns_in_and_out_over_each_leg(hand, side, kinds):
    reps = turns(side, hand=hand)
    assert [rep.kind for rep in reps] == [f"hip-turn {one}" for one in kinds]
    assert [rep.features["standing_hip_rotation_deg"] for rep in reps] == pytest.approx([30, 24], abs=0.6)
    assert [rep.features["pelvis_turn_deg"] for rep in reps] == pytest.approx([30, 24], abs=0.6)
    for rep in reps:
        assert rep.features["standing_thigh_wobble_deg"] < 0.5, "the thigh stays still"
        assert rep.positions["begin_s"] < rep.positions["furthest_s"] < rep.positions["finish_s"]


def test_a_leg_that_turns_along_shows_in_the_thigh():
    for rep in turns("lead", share=0.3):
        assert rep.features["standing_thigh_wobble_deg"] == pytest.approx(0.7 * rep.features["pelvis_turn_deg"], abs=1)
        assert rep.features["standing_hip_rotation_deg"] == pytest.approx(0.3 * rep.features["pelvis_turn_deg"], abs=1)


def test_both_hands_have_the_same_numbers():
    for one, other in zip(turns("lead"), turns("lead", hand=Hand.LEFT), strict=True):
        assert one.features == pytest.approx(other.features, abs=1e-9)


def test_a_wait_at_the_furthest_turn_is_not_the_beginning_of_the_way_back():
    """The first turn begins before anything is seen of the rest before it."""
    script = make_hip_turn_script(turns_deg=(30.0, -30.0))
    stage = HipTurnStage(hand=Hand.RIGHT)
    stage.use(side="lead", least_rad=np.deg2rad(12), kind="hip-turn")
    late = exact.angles(script, np.arange((script.ready_s + 1.7) * 200, script.duration_s * 200) / 200)
    assert [rep.kind for rep in stage.feed(late)] == ["hip-turn out"]


def facing(whole: Angles, degrees: float) -> Angles:
    """The same by a player who faces another way; turn within ±180°."""
    turn = whole.pelvis.angle_rad.copy()
    turn[:, 0] = (turn[:, 0] + np.deg2rad(degrees) + np.pi) % (2 * np.pi) - np.pi
    return replace(whole, pelvis=replace(whole.pelvis, angle_rad=turn))


@pytest.mark.parametrize("degrees", [0, 45, 90, 135, 165, 180, -160, -90])
def test_h70_h72_the_way_a_player_faces_and_the_jump_of_the_turn_do_not_matter(degrees):
    script = make_hip_turn_script(turns_deg=(30.0, -24.0))
    stage = HipTurnStage(hand=Hand.RIGHT)
    stage.use(side="lead", least_rad=np.deg2rad(12), kind="hip-turn")
    t_s = np.arange((script.ready_s - 3.2) * 200, script.duration_s * 200) / 200
    still = np.maximum(t_s, script.ready_s - 1.5)  # long enough to be a new place to stand
    reps = stage.feed(facing(replace(exact.angles(script, still), t_s=t_s), degrees))
    assert [rep.features["pelvis_turn_deg"] for rep in reps] == pytest.approx([30, 24], abs=0.6)
    assert all(rep.features["standing_thigh_wobble_deg"] < 0.5 for rep in reps)


def test_small_turns_are_none():
    assert turns("lead", turns_deg=(8.0, -6.0)) == []


def test_walking_and_waggling_are_none():
    """Turns of the whole body that a walk needs may count; what is done on the spot does not."""
    script = make_idle_script(seconds=40)
    stage = HipTurnStage(hand=Hand.RIGHT)
    on_the_spot = [one for one in script.truth.busy if one.kind in ("stand", "bend", "sway")]
    assert on_the_spot
    for one in on_the_spot:
        assert stage.feed(exact.angles(script, np.arange(one.start_s * 200, one.end_s * 200) / 200)) == []


def test_first_half_and_restored_state_and_second_half_are_the_whole():
    script = make_hip_turn_script()
    pieces = cut(exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200), 60)
    whole = HipTurnStage(hand=Hand.RIGHT)
    expected = [rep for piece in pieces for rep in whole.feed(piece)]
    assert len(expected) == 2
    for at in range(0, len(pieces), 3):
        first, second = HipTurnStage(hand=Hand.RIGHT), HipTurnStage(hand=Hand.RIGHT)
        found = [rep for piece in pieces[:at] for rep in first.feed(piece)]
        second.state = pickle.loads(pickle.dumps(first.state))
        found += [rep for piece in pieces[at:] for rep in second.feed(piece)]
        assert same(found, expected)
