"""Screening: three trials, best and spread, side against side, day against day."""

from __future__ import annotations

import pytest

from imufeedback.errors import UsageError
from imufeedback.records import Rep
from imufeedback.rules.screening import MDC_DEG, NO_DIAGNOSIS, NORMS, HipTrial, compare, screen, trial_of

STANCE = "staggered stance"


def trials(side: str, direction: str, *values: float) -> list[HipTrial]:
    return [HipTrial(side, direction, value, 4.0) for value in values]


def test_best_and_spread_of_three():
    found = screen(trials("lead", "in", 30.0, 34.0, 31.0), STANCE).ranges["lead", "in"]
    assert (found.best_deg, found.spread_deg, found.trials, found.complete) == (34.0, 4.0, 3, True)
    assert found.mean_deg == pytest.approx(31.667, abs=0.001)


def test_the_last_three_count():
    found = screen(trials("lead", "in", 60.0, 30.0, 34.0, 31.0), STANCE).ranges["lead", "in"]
    assert found.best_deg == 34.0


def test_sides_and_directions_are_kept_apart():
    found = screen(
        trials("lead", "in", 30, 31, 32) + trials("trail", "in", 36, 38, 37) + trials("lead", "out", 40), STANCE
    )
    assert set(found.ranges) == {("lead", "in"), ("trail", "in"), ("lead", "out")}
    assert found.side_difference_deg("in") == pytest.approx(-6)
    assert found.side_difference_deg("out") is None, "not complete"


@pytest.mark.parametrize(("lead", "counts"), [(36.0, False), (40.5, False), (41.0, True), (30.0, True), (31.0, False)])
def test_a_difference_counts_beyond_the_minimal_detectable_change(lead, counts):
    assert MDC_DEG == 5.4  # Krause et al., seated active internal rotation
    now = screen(trials("lead", "in", lead, lead, lead) + trials("trail", "in", 35.5, 35.5, 35.5), STANCE)
    assert (abs(now.side_difference_deg("in")) > now.detectable_deg("in")) is counts


def test_trials_that_differ_among_themselves_raise_what_counts():
    loose = screen(trials("lead", "in", 30, 40, 50) + trials("trail", "in", 50, 50, 50), STANCE)
    assert loose.detectable_deg("in") == pytest.approx(1.96 * 10 / 3**0.5)
    assert abs(loose.side_difference_deg("in")) == 10.0 < loose.detectable_deg("in")


def test_day_against_day():
    before = screen(trials("lead", "in", 30, 31, 32) + trials("trail", "in", 40, 40, 40), STANCE)
    now = screen(trials("lead", "in", 38, 39, 38) + trials("trail", "in", 41, 42, 41), STANCE)
    changes = {(one.side, one.direction): one for one in compare(now, before)}
    assert (changes["lead", "in"].change_deg, changes["lead", "in"].beyond_mdc) == (
        pytest.approx(7.333, abs=0.001),
        True,
    )
    assert (changes["trail", "in"].change_deg, changes["trail", "in"].beyond_mdc) == (
        pytest.approx(1.333, abs=0.001),
        False,
    )


def test_an_incomplete_day_is_not_compared():
    assert compare(screen(trials("lead", "in", 30, 31), STANCE), screen(trials("lead", "in", 30, 31, 32), STANCE)) == []


def test_two_positions_are_never_compared():
    with pytest.raises(UsageError, match="cannot be compared"):
        compare(screen([], STANCE), screen([], "sitting"))
    with pytest.raises(UsageError, match="position"):
        screen([], "")


def test_a_trial_comes_from_a_rep_of_the_drill():
    rep = Rep(
        0, "hip-turn-lead in", 1, 3, {}, (), {"standing_hip_rotation_deg": 31.0, "standing_hip_rotation_sd_deg": 5.0}
    )
    assert trial_of(rep, "lead") == HipTrial("lead", "in", 31.0, 5.0)


def test_a_trial_is_the_range_where_the_rep_has_one():
    features = {"standing_hip_rotation_deg": 31.0, "standing_hip_rotation_sd_deg": 5.0}
    ranged = features | {"standing_hip_range_deg": 36.0, "standing_hip_range_sd_deg": 3.0}
    rep = Rep(0, "hip-turn-lead in", 1, 3, {}, (), ranged)
    assert trial_of(rep, "lead") == HipTrial("lead", "in", 36.0, 3.0)


def test_norms_have_a_source_and_say_whether_it_was_read():
    assert all(norm.source and norm.value for norm in NORMS)
    assert {norm.seen for norm in NORMS} == {True, False}
    assert "not diagnose" in NO_DIAGNOSIS


def test_a_void_rep_is_no_trial():
    void = Rep(2, "hip-turn-lead in", 0.0, 2.0, {}, (), {}, "left hip: rotation not known after a gap")
    with pytest.raises(UsageError, match="rep 3 does not count"):
        trial_of(void, "lead")
