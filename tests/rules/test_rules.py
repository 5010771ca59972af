"""The rules stage: findings in the order of the rule set, with all that a reader needs."""

from __future__ import annotations

import pickle
from importlib.resources import files

import pytest

from imufeedback.records import Finding, Rep, Verdict, same
from imufeedback.rules import Limits, Rules, parse_rule_set, with_limits

SHIPPED = parse_rule_set((files("imufeedback") / "rules/sets/swing.toml").read_text("utf-8"), "swing")
SWING = with_limits(SHIPPED, Limits(1, limits={"turns-in-the-hips": 0.5, "lead-hip-turns-in": 25.0}), "a coach")
"""With a coach's targets for the hips."""

GOOD = {
    "trail_thigh_flat_turn_deg": 1.0,
    "trail_thigh_flat_from_s": 11.6,
    "trail_thigh_growth_deg": 0.2,
    "trail_thigh_growth_from_s": 11.0,
    "own_axis_share": 0.85,
    "own_axis_sd_share": 0.1,
    "lead_hip_turn_in_deg": 60.0,
    "lead_hip_turn_in_sd_deg": 3.0,
}


def rep(index: int = 0, **changed: float) -> Rep:
    marks = {"address_s": 10.0, "top_s": 11.0, "impact_s": 12.0, "finish_s": 12.5}
    return Rep(index, "swing", 10.0, 12.5, marks, ("impact_s",), GOOD | changed)


def findings(one: Rep) -> list[Finding]:
    return _found(Rules(SWING), one)


def _found(rules: Rules, one: Rep) -> list[Finding]:
    return [told for told in rules.feed(one) if isinstance(told, Finding)]


def test_a_good_rep_has_none():
    assert findings(rep()) == []


@pytest.mark.parametrize(
    ("changed", "rule", "value", "limit", "t_s"),
    [
        (
            {"trail_thigh_flat_turn_deg": 40.0},
            "trail-thigh-keeps-falling",
            40.0,
            4.0,
            11.6,
        ),
        ({"trail_thigh_growth_deg": 6.0}, "trail-thigh-never-grows", 6.0, 2.0, 11.0),
        ({"own_axis_share": 0.15}, "turns-in-the-hips", 0.15, 0.5, 12.0),
        ({"lead_hip_turn_in_deg": 8.0}, "lead-hip-turns-in", 8.0, 25.0, 12.0),
    ],
)
def test_one_fault_is_one_finding(changed, rule, value, limit, t_s):
    (found,) = findings(rep(4, **changed))
    assert (found.rule, found.rep, found.verdict) == (rule, 4, Verdict.FAULT)
    assert (found.value, found.limit, found.t_s) == (value, limit, t_s)
    assert found.unit == next(one.unit for one in SWING.rules if one.id == rule)
    assert found.text == next(one.text for one in SWING.rules if one.id == rule)


def test_inside_the_error_bar_it_is_unsure():
    (found,) = findings(rep(lead_hip_turn_in_deg=23.0))
    assert (found.verdict, found.sd) == (Verdict.UNSURE, 3.0)
    (found,) = findings(rep(lead_hip_turn_in_deg=27.0))
    assert found.verdict is Verdict.UNSURE
    (found,) = findings(rep(own_axis_share=0.41))
    assert found.verdict is Verdict.UNSURE
    (found,) = findings(rep(own_axis_share=0.39))
    assert found.verdict is Verdict.FAULT


def test_a_wider_error_bar_makes_a_fault_unsure():
    (found,) = findings(rep(lead_hip_turn_in_deg=19.0))
    assert found.verdict is Verdict.FAULT
    (found,) = findings(rep(lead_hip_turn_in_deg=19.0, lead_hip_turn_in_sd_deg=9.0))
    assert found.verdict is Verdict.UNSURE


def test_a_finding_has_the_sound_of_its_rule():
    (found,) = findings(rep(trail_thigh_growth_deg=6.0))
    assert found.cue == "regaining"


def test_range_is_not_judged_when_form_was_lost():
    """The standing thigh turned along: its range says nothing, however large or small."""
    drill = parse_rule_set((files("imufeedback") / "rules/drills/hip-turn-lead.toml").read_text("utf-8"), "drill")
    marks = {"begin_s": 1.0, "furthest_s": 2.0, "finish_s": 3.0}

    def of(wobble: float, rotation: float) -> list[str]:
        features = {"standing_thigh_wobble_deg": wobble, "standing_hip_rotation_deg": rotation}
        features |= {"pelvis_off_level_deg": 1.0, "stance_stagger_deg": 26.0}
        return [one.rule for one in Rules(drill).feed(Rep(0, "hip-turn-lead in", 1.0, 3.0, marks, (), features))]

    assert of(4.0, 30.0) == []
    assert of(4.0, 9.0) == ["hip-rotation-reaches"]
    assert of(25.0, 9.0) == ["standing-thigh-still"]


def test_findings_come_in_the_order_of_the_rule_set():
    everything = rep(
        trail_thigh_flat_turn_deg=30.0,
        trail_thigh_growth_deg=7.0,
        own_axis_share=0.1,
        lead_hip_turn_in_deg=2.0,
    )
    assert [one.rule for one in findings(everything)] == [one.id for one in SWING.rules[:4]]


def test_without_a_baseline_nothing_is_kept_between_reps():
    bad, good = rep(0, trail_thigh_growth_deg=7.0), rep(1)
    one = Rules(SWING)
    assert len(_found(one, bad)) == 1
    assert _found(one, good) == []
    assert one.finish() == []
    other = Rules(SWING)
    other.state = pickle.loads(pickle.dumps(one.state))
    assert same(_found(other, bad), findings(bad))
