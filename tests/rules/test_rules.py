"""The rules stage: findings in the order of the rule set, with all that a reader needs."""

from __future__ import annotations

import pickle
from importlib.resources import files

import pytest

from imufeedback.records import Finding, Rep, Verdict, same
from imufeedback.rules import Rules, parse_rule_set

SWING = parse_rule_set((files("imufeedback") / "rules/sets/swing.toml").read_text("utf-8"), "swing")

GOOD = {
    "trail_thigh_flat_turn_deg": 1.0,
    "trail_thigh_growth_deg": 0.2,
    "trail_thigh_growth_from_s": 11.0,
    "own_axis_share": 0.85,
    "lead_hip_turn_in_deg": 60.0,
    "hip_rotation_sd_deg": 3.0,
}


def rep(index: int = 0, **changed: float) -> Rep:
    marks = {"address_s": 10.0, "top_s": 11.0, "impact_s": 12.0, "finish_s": 12.5}
    return Rep(index, "swing", 10.0, 12.5, marks, ("impact_s",), GOOD | changed)


def findings(one: Rep) -> list[Finding]:
    return Rules(SWING).feed(one)


def test_a_good_rep_has_none():
    assert findings(rep()) == []


@pytest.mark.parametrize(
    ("changed", "rule", "value", "limit", "t_s"),
    [
        (
            {"trail_thigh_first_stall_s": 11.6, "trail_thigh_flat_turn_deg": 40.0},
            "trail-thigh-keeps-falling",
            40.0,
            3.0,
            11.6,
        ),
        ({"trail_thigh_growth_deg": 6.0}, "trail-thigh-never-grows", 6.0, 2.0, 11.0),
        ({"own_axis_share": 0.15}, "turns-in-the-hips", 0.15, 0.5, 12.0),
        ({"lead_hip_turn_in_deg": 8.0}, "lead-hip-turns-in", 8.0, 20.0, 12.0),
    ],
)
def test_one_fault_is_one_finding(changed, rule, value, limit, t_s):
    (found,) = findings(rep(4, **changed))
    assert (found.rule, found.rep, found.verdict) == (rule, 4, Verdict.FAULT)
    assert (found.value, found.limit, found.t_s) == (value, limit, t_s)
    assert found.unit == next(one.unit for one in SWING.rules if one.id == rule)
    assert found.text == next(one.text for one in SWING.rules if one.id == rule)


def test_inside_the_error_bar_it_is_unsure():
    (found,) = findings(rep(lead_hip_turn_in_deg=18.0))
    assert found.verdict is Verdict.UNSURE
    (found,) = findings(rep(own_axis_share=0.48))  # 3° of rotation are 0.036 of the share
    assert found.verdict is Verdict.UNSURE
    (found,) = findings(rep(own_axis_share=0.45))
    assert found.verdict is Verdict.FAULT


def test_a_wider_error_bar_makes_a_fault_unsure():
    (found,) = findings(rep(lead_hip_turn_in_deg=14.0))
    assert found.verdict is Verdict.FAULT
    (found,) = findings(rep(lead_hip_turn_in_deg=14.0, hip_rotation_sd_deg=9.0))
    assert found.verdict is Verdict.UNSURE


def test_findings_come_in_the_order_of_the_rule_set():
    everything = rep(
        trail_thigh_first_stall_s=11.5,
        trail_thigh_flat_turn_deg=30.0,
        trail_thigh_growth_deg=7.0,
        own_axis_share=0.1,
        lead_hip_turn_in_deg=2.0,
    )
    assert [one.rule for one in findings(everything)] == [one.id for one in SWING.rules]


def test_nothing_is_kept_between_reps():
    bad, good = rep(0, trail_thigh_growth_deg=7.0), rep(1)
    one = Rules(SWING)
    assert len(one.feed(bad)) == 1
    assert one.feed(good) == []
    assert one.finish() == []
    other = Rules(SWING)
    other.state = pickle.loads(pickle.dumps(one.state))
    assert same(other.feed(bad), findings(bad))
