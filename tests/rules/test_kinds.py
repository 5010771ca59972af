"""Every kind of rule on reps with given features, and what the error bar does to a verdict."""

from __future__ import annotations

import pytest

from imufeedback.records import Rep, Verdict
from imufeedback.rules.kinds import formerly, kinds
from imufeedback.rules.rule import Rule, verdict

FAULT, UNSURE = Verdict.FAULT, Verdict.UNSURE


def rule(name: str, limit: float, **more) -> Rule:
    own = {"keeps-falling": "trail_thigh_flat_turn_deg", "never-grows": "trail_thigh_growth_deg"}
    if name == "at-least-own":
        more = {"least_spread": 1.0, **more}
    return kinds()[name](id="one", limit=limit, unit="deg", text="…", **{"feature": own.get(name, "one_deg"), **more})


def rep(**features: float) -> Rep:
    return Rep(3, "swing", 10.0, 13.0, {"top_s": 11.0, "impact_s": 12.0}, (), features)


def outcome(one: Rule, features: Rep):
    found = one.check(features)
    return found and (found.value, found.t_s, found.verdict)


def test_these_kinds_exist():
    assert set(kinds()) == {"at-least", "at-least-own", "keeps-falling", "never-grows", "sides-agree", "stays-within"}
    assert formerly() == {"reaches": "stays-within", "happens-before": "stays-within"}


def test_a_kind_is_called_as_its_file():
    for name, made in kinds().items():
        assert made.__struct_config__.tag == name
        assert made.__module__.endswith(f".{name.replace('-', '_')}")


@pytest.mark.parametrize(
    ("miss", "sd", "expected"),
    [
        (-1.0, 0.0, None),
        (0.0, 0.0, None),
        (-0.1, 5.0, UNSURE),  # the bar spans the limit from this side too
        (-5.0, 5.0, None),
        (0.1, 0.0, FAULT),
        (1.0, 2.0, UNSURE),
        (2.0, 2.0, UNSURE),
        (2.1, 2.0, FAULT),
    ],
)
def test_inside_the_error_bar_nothing_is_certain(miss, sd, expected):
    assert verdict(miss, sd) is expected


def test_spread_is_a_feature_in_the_rules_unit():
    assert rule("at-least", 1.0).spread(rep(sd=4.0)) == 0.0
    assert rule("at-least", 1.0, sd="sd").spread(rep(sd=4.0)) == 4.0
    assert rule("at-least", 1.0, sd="sd", sd_factor=0.5).spread(rep(sd=4.0)) == 2.0
    assert rule("at-least", 1.0, sd="sd").spread(rep()) == 0.0


@pytest.mark.parametrize(
    ("value", "expected"),
    [(25.0, None), (22.0, None), (20.5, UNSURE), (19.5, UNSURE), (18.0, UNSURE), (17.9, FAULT), (-5.0, FAULT)],
)
def test_at_least(value, expected):
    one = rule("at-least", 20.0, feature="lead", sd="sd")
    found = outcome(one, rep(lead=value, sd=2.0))
    assert found == (expected and (value, 12.0, expected))


def test_at_least_without_its_feature_is_no_judgement():
    assert outcome(rule("at-least", 20.0, feature="lead"), rep(other=1.0)) is None


def test_at_least_without_an_impact_is_dated_at_the_end():
    one = Rep(0, "swing", 1.0, 4.0, {}, (), {"lead": 5.0})
    assert outcome(rule("at-least", 20.0, feature="lead"), one) == (5.0, 4.0, FAULT)


@pytest.mark.parametrize(
    ("flat", "expected"), [(2.0, None), (2.4, None), (2.6, UNSURE), (4.0, UNSURE), (5.0, UNSURE), (6.0, FAULT)]
)
def test_keeps_falling(flat, expected):
    """The bar is 2 downwards and 0.5 upwards."""
    one = rule("keeps-falling", 3.0, sd="sd")
    features = rep(
        trail_thigh_flat_from_s=11.4, trail_thigh_flat_turn_deg=flat, sd=2.0, trail_thigh_flat_turn_up_sd_deg=0.5
    )
    assert outcome(one, features) == (expected and (flat, 11.4, expected))


@pytest.mark.parametrize(("grown", "expected"), [(0.0, None), (1.0, None), (1.5, UNSURE), (2.5, UNSURE), (5.0, FAULT)])
def test_never_grows(grown, expected):
    one = rule("never-grows", 2.0, sd="sd")
    features = rep(trail_thigh_growth_deg=grown, trail_thigh_growth_from_s=11.1, sd=1.0)
    assert outcome(one, features) == (expected and (grown, 11.1, expected))


@pytest.mark.parametrize("name", kinds())
def test_a_rep_without_what_a_kind_looks_at_is_not_judged(name):
    """A hip turn has no impact and no trail thigh that falls."""
    more = {"other": "other_deg"} if name == "sides-agree" else {}
    assert outcome(rule(name, 3.0, **more), rep(standing_hip_rotation_deg=30.0)) is None


def test_the_error_bar_beside_a_feature_is_found_by_its_name():
    one = rule("at-least", 20.0, feature="lead_deg")
    assert outcome(one, rep(lead_deg=18.0)) == (18.0, 12.0, FAULT)
    assert outcome(one, rep(lead_deg=18.0, lead_sd_deg=3.0)) == (18.0, 12.0, UNSURE)


@pytest.mark.parametrize(("value", "expected"), [(-6.0, None), (2.9, None), (3.1, FAULT)])
def test_what_comes_down_to_a_target_stays_within(value, expected):
    found = outcome(rule("stays-within", 3.0, feature="min_deg"), rep(min_deg=value))
    assert found == (expected and (value, 12.0, expected))


@pytest.mark.parametrize(("value", "expected"), [(0.2, FAULT), (0.3, None), (0.7, None), (0.8, FAULT)])
def test_stays_within(value, expected):
    found = outcome(rule("stays-within", 0.7, low=0.3, feature="level_turn_share"), rep(level_turn_share=value))
    assert found == (expected and (value, 12.0, expected))


def test_stays_within_without_a_lower_end():
    one = rule("stays-within", 0.1, feature="slope_ratio")
    assert outcome(one, rep(slope_ratio=-7.0)) is None
    assert outcome(one, rep(slope_ratio=-7.0, slope_sd_ratio=3.0)) is None, "two error bars away is not unsure"


@pytest.mark.parametrize(("share", "expected"), [(0.5, None), (0.9, FAULT), (1.5, FAULT)])
def test_what_happens_before_a_share_of_the_turn_stays_within(share, expected):
    found = outcome(rule("stays-within", 0.85, feature="cross_share"), rep(cross_share=share))
    assert found == (expected and (share, 12.0, expected))


@pytest.mark.parametrize(("lead", "expected"), [(60.0, None), (36.0, None), (30.0, FAULT)])
def test_sides_agree(lead, expected):
    one = rule("sides-agree", 25.0, feature="lead_deg", other="trail_deg")
    found = outcome(one, rep(lead_deg=lead, trail_deg=60.0))
    assert found == (expected and (60.0 - lead, 12.0, expected))


def test_a_finding_points_at_the_mark_that_the_rule_names():
    one = rule("at-least", 20.0, feature="lead_deg", at="top")
    assert outcome(one, rep(lead_deg=1.0)) == (1.0, 11.0, FAULT)
