"""Rule sets as recordings hold them: of older and of newer versions. They are read, judged as before, and what is not
known of them is told."""

from __future__ import annotations

import pytest
from rule_texts import HEAD

from imufeedback.records import Rep, Verdict
from imufeedback.rules import Rules, parse_recorded, parse_rule_set
from imufeedback.rules.ruleset import RuleSet

FEATURES = {
    "trail_thigh_angle_min_deg": 4.0,
    "trail_thigh_flat_turn_deg": 9.0,
    "trail_thigh_flat_turn_sd_deg": 10.0,
    "trail_thigh_growth_sd_deg": 1.0,
    "knees_cross_turn_share": 0.9,
}
REP = Rep(0, "swing", 1.0, 4.0, {"impact_s": 3.0}, (), FEATURES)


def rule(**fields: object) -> str:
    words = {"id": "one", "limit": 3.0, "unit": "deg", "text": "Do it.", **fields}
    return "[[rules]]\n" + "".join(f"{key} = {value!r}\n" for key, value in words.items() if value is not None)


def recorded(*rules: str) -> tuple[RuleSet, tuple[str, ...]]:
    return parse_recorded(HEAD + "".join(rules), "rule set")


def told(rules: RuleSet) -> list[tuple[float, Verdict, float, str]]:
    return [(one.t_s, one.verdict, one.sd, one.cue) for one in Rules(rules).feed(REP)]


@pytest.mark.parametrize(
    ("kind", "feature", "unit", "limit"),
    [("reaches", "trail_thigh_angle_min_deg", "deg", 3.0), ("happens-before", "knees_cross_turn_share", "1", 0.85)],
)
def test_kinds_by_the_names_that_they_had_before(kind: str, feature: str, unit: str, limit: float) -> None:
    text = rule(kind=kind, feature=feature, unit=unit, limit=limit)
    rules, lines = recorded(text)
    assert lines == ()
    assert rules.rules[0].kind == "stays-within"
    assert told(rules) == [(3.0, Verdict.FAULT, 0.0, "stalled")]
    assert parse_rule_set(HEAD + text, "a copy from before") == rules


def test_a_field_that_the_kind_never_looked_at_is_passed_over() -> None:
    rules, (line,) = recorded(rule(kind="reaches", feature="trail_thigh_angle_min_deg", other="lead_hip_turn_in_deg"))
    assert "has no other" in line
    assert len(told(rules)) == 1


def test_a_field_of_a_newer_version_is_passed_over() -> None:
    rules, (line,) = recorded(rule(kind="reaches", feature="trail_thigh_angle_min_deg", spoken="Turn."))
    assert "has no spoken" in line
    assert len(told(rules)) == 1


@pytest.mark.parametrize(
    ("named", "verdict", "sd"),
    [
        ({"feature": "trail_thigh_flat_turn_deg"}, Verdict.UNSURE, 10.0),
        ({}, Verdict.FAULT, 0.0),
        ({"feature": "trail_thigh_growth_deg"}, Verdict.FAULT, 1.0),
        ({"sd": "trail_thigh_flat_turn_sd_deg"}, Verdict.UNSURE, 10.0),
    ],
)
def test_a_kind_that_knows_its_feature_keeps_the_bar_that_it_had(
    named: dict[str, str], verdict: Verdict, sd: float
) -> None:
    rules, lines = recorded(rule(kind="keeps-falling", **named))
    assert lines == ()
    assert told(rules) == [(4.0, verdict, sd, "stalled")]


def test_what_could_never_fire_is_left_out_and_told() -> None:
    rules, lines = recorded(rule(kind="dances"), rule(id="two", kind="at-least"), rule(id="three", kind="never-grows"))
    assert [one.id for one in rules.rules] == ["three"]
    assert len(lines) == 2
    assert "'dances'" in lines[0]
    assert "feature is missing" in lines[1]


def test_unknown_words_are_told_and_judged_as_far_as_they_go() -> None:
    feature = "trail_thigh_angle_min_deg"
    rules, lines = recorded(rule(kind="reaches", feature=feature, cue="gong", unit="ell", at="nowhere"))
    assert [line.split(" – ")[0] for line in lines] == [
        "rule set: rule 'one': unit 'ell' does not exist",
        "rule set: rule 'one': cue 'gong' does not exist",
        "rule set: rule 'one': at 'nowhere' does not exist",
    ]
    assert told(rules) == [(4.0, Verdict.FAULT, 0.0, "stalled")]
