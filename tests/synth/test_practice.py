"""A session of practice: the acts are there, and right where they say so."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.measure import exact
from imufeedback.motion.hip_turn import HipTurnStage
from imufeedback.records import Hand, Rep
from imufeedback.synth.practice import HipTurnMotion, make_practice_script
from imufeedback.synth.swing import Flaw


def turned(*turns: HipTurnMotion, hand: Hand = Hand.RIGHT) -> list[Rep]:
    script = make_practice_script(turns, hand=hand)
    stage = HipTurnStage(hand=hand)
    stage.use(side=turns[0].side, least_rad=np.deg2rad(12), kind="hip-turn")
    return stage.feed(exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200))


@pytest.mark.parametrize("hand", Hand)
@pytest.mark.parametrize("side", ["trail", "lead"])
def test_hip_turns_over_a_staggered_stance_leave_the_thigh_still(hand: Hand, side: str) -> None:
    inward, outward = turned(HipTurnMotion(side, 35.0), HipTurnMotion(side, -25.0), hand=hand)
    assert (inward.kind, outward.kind) == ("hip-turn in", "hip-turn out")
    for rep, degrees in ((inward, 35.0), (outward, 25.0)):
        assert rep.features["pelvis_turn_deg"] == pytest.approx(degrees, abs=0.6)
        assert rep.features["standing_hip_rotation_deg"] == pytest.approx(degrees, abs=1.2)
        assert rep.features["standing_thigh_wobble_deg"] < 1.0
        assert rep.features["pelvis_off_level_deg"] < 0.3
        assert rep.features["stance_stagger_deg"] == pytest.approx(26.0, abs=0.2)
        assert rep.features["there_and_back_s"] == pytest.approx(3.7, abs=0.25)


def test_what_is_done_wrong_is_in_the_numbers() -> None:
    loose, tipped, together = (
        turned(one)[0].features
        for one in (
            HipTurnMotion("trail", 30.0, share=0.4),
            HipTurnMotion("trail", 30.0, tip_deg=15.0),
            HipTurnMotion("trail", 30.0, stagger_deg=0.0),
        )
    )
    assert loose["standing_thigh_wobble_deg"] == pytest.approx(18.0, abs=1.5)
    assert tipped["pelvis_off_level_deg"] == pytest.approx(15.0, abs=0.5)
    assert together["stance_stagger_deg"] == pytest.approx(0.0, abs=0.2)


@pytest.mark.parametrize("one_way_s", [0.6, 1.0, 2.5])
def test_the_whole_time_there_and_back_is_known_before_it_is_over(one_way_s: float) -> None:
    (rep,) = turned(HipTurnMotion("lead", 30.0, one_way_s))
    assert rep.features["there_and_back_s"] == pytest.approx(2 * one_way_s + 0.3, rel=0.12)


def test_swings_and_turns_follow_each_other() -> None:
    script = make_practice_script([Flaw.NONE, HipTurnMotion("trail", 30.0), Flaw.STALL])
    assert [one.flaw for one in script.truth.reps] == [Flaw.NONE, Flaw.STALL]


@pytest.mark.parametrize("seed", range(4))
def test_who_is_alive_wobbles_and_hesitates_and_is_found_all_the_same(seed: int) -> None:
    script = make_practice_script(
        [HipTurnMotion("trail", 35.0), HipTurnMotion("trail", -25.0)] * 3, seed=seed, alive=True
    )
    stage = HipTurnStage(hand=script.hand)
    stage.use(side="trail", least_rad=np.deg2rad(12), kind="hip-turn")
    reps = stage.feed(exact.angles(script, np.arange((script.ready_s - 1) * 200, script.duration_s * 200) / 200))
    assert [one.kind for one in reps] == ["hip-turn in", "hip-turn out"] * 3
    turns, wobbles = (
        np.array([one.features[name] for one in reps]) for name in ("pelvis_turn_deg", "standing_thigh_wobble_deg")
    )
    np.testing.assert_allclose(turns, [35, 25] * 3, rtol=0.12)
    assert np.ptp(turns[::2]) > 0.2
    assert 0.2 < wobbles.min() < wobbles.max() < 4
