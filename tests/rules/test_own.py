"""Rules without a limit that holds for everybody: the player's own baseline, a coach's target, or no judgement."""

from __future__ import annotations

import pickle
from dataclasses import replace

import pytest

from imufeedback import resources, shipped
from imufeedback.phrases import PHRASES
from imufeedback.records import Finding, Lack, Rep, Role, Unjudged, Verdict
from imufeedback.report import guides
from imufeedback.rules import Rules, parse_rule_set, with_limit
from imufeedback.rules.baseline import LEAST_REPS
from imufeedback.rules.lacks import NO_IMPACT, NO_SHANKS
from imufeedback.settings import EarlierBaseline

SWING = parse_rule_set(resources.text("rules", "swing"), "swing")
OWN = {"turns-in-the-hips", "lead-hip-turns-in", "trail-hip-turns-in-back", "turns-through"}
TURNED_DEG = (34.0, 36.0, 38.0, 35.0, 37.0, 36.0)
"""Median 36, spread about it 1.41."""


def rep(lead_deg: float = 36.0, kind: str = "swing", **more: float) -> Rep:
    features = {"lead_hip_turn_in_deg": lead_deg, "lead_hip_turn_in_sd_deg": 6.0, "own_axis_share": 0.3, **more}
    return Rep(0, kind, 10.0, 12.5, {"impact_s": 12.0, "finish_s": 12.5}, (), features)


def with_baseline(values=TURNED_DEG, kind: str = "swing") -> Rules:
    rules = Rules(SWING)
    rules.begin(Role.BASELINE)
    for value in values:
        rules.feed(rep(value, kind))
    rules.begin(Role.SWINGS)
    return rules


def told(rules: Rules, one: Rep, rule: str = "lead-hip-turns-in") -> Finding | Unjudged | None:
    return next((said for said in rules.feed(one) if said.rule == rule), None)


@pytest.mark.parametrize("lead_deg", [-5.0, 5.0, 36.0])
def test_without_a_baseline_and_a_target_nobody_is_accused(lead_deg: float) -> None:
    said = told(Rules(SWING), rep(lead_deg))
    assert isinstance(said, Unjudged)
    assert said.lack is Lack.LIMIT
    assert "baseline" in said.text
    assert "target" in said.text


def test_the_shipped_rules_without_a_limit_for_everybody_are_the_players_own() -> None:
    assert {one.id for one in SWING.rules if one.waits} == OWN


@pytest.mark.parametrize(
    ("lead_deg", "expected"),  # limit 36 - 3 x 1.5 = 31.5, bar 1.5
    [(40.0, None), (33.1, None), (32.9, Verdict.UNSURE), (30.1, Verdict.UNSURE), (29.9, Verdict.FAULT)],
)
def test_a_rep_is_compared_with_the_baseline(lead_deg: float, expected: Verdict | None) -> None:
    said = told(with_baseline(), rep(lead_deg))
    if expected is None:
        assert said is None
    else:
        assert isinstance(said, Finding)
        assert (said.verdict, said.limit, said.sd) == (expected, pytest.approx(31.5), pytest.approx(1.5))


def test_a_wide_baseline_allows_more() -> None:
    said = told(with_baseline((26.0, 46.0, 36.0, 31.0, 41.0, 36.0)), rep(22.0))
    assert said is None


def test_reps_of_the_baseline_themselves_are_not_judged() -> None:
    rules = Rules(SWING)
    rules.begin(Role.BASELINE)
    for value in (*TURNED_DEG, *TURNED_DEG, 0.0):
        said = told(rules, rep(value))
        assert isinstance(said, Unjudged)
    assert "belongs to the baseline" in said.text


def test_a_short_baseline_says_how_much_is_missing() -> None:
    said = told(with_baseline(TURNED_DEG[:4]), rep(5.0))
    assert isinstance(said, Unjudged)
    assert f"only 4 of the {LEAST_REPS} reps" in said.text


def test_a_rehearsal_is_not_compared_with_full_swings() -> None:
    assert isinstance(told(with_baseline(kind="full-swings"), rep(5.0)), Unjudged)
    assert isinstance(told(with_baseline(kind="swing"), rep(5.0)), Finding)


def test_void_reps_are_no_part_of_a_baseline() -> None:
    rules = Rules(SWING)
    rules.begin(Role.BASELINE)
    for _ in range(LEAST_REPS):
        assert rules.feed(Rep(0, "swing", 1.0, 2.0, {}, (), {}, "a gap")) == []
    rules.begin(Role.SWINGS)
    assert isinstance(told(rules, rep(5.0)), Unjudged)


def test_a_coachs_target_is_judged_at_once_with_the_error_bar_of_the_feature() -> None:
    rules = with_baseline()
    rules.use(with_limit(SWING, "lead-hip-turns-in", 50.0))
    said = told(rules, rep(36.0))
    assert isinstance(said, Finding)
    assert (said.limit, said.sd, said.verdict) == (50.0, 6.0, Verdict.FAULT)


def test_the_baseline_stays_with_another_rule_set_and_through_a_stored_state() -> None:
    first, second = with_baseline(), Rules(SWING)
    first.use(parse_rule_set(resources.text("drills", "half-swings"), "half"))
    second.state = pickle.loads(pickle.dumps(first.state))
    assert isinstance(told(second, rep(5.0)), Finding)


def test_a_new_baseline_replaces_the_old_one() -> None:
    rules = with_baseline()
    rules.begin(Role.BASELINE)
    for value in TURNED_DEG:
        rules.feed(rep(value - 30.0))
    rules.begin(Role.TEST)
    assert told(rules, rep(5.0)) is None


def test_what_no_sensor_measured_is_not_checked() -> None:
    said = {one.rule: one for one in Rules(SWING).feed(rep()) if isinstance(one, Unjudged) and one.lack is Lack.SENSOR}
    assert said["knees-cross"].text == said["lead-knee-gives"].text == NO_SHANKS
    no_impact = Rep(0, "swing", 1.0, 2.0, {"finish_s": 2.0}, (), {})
    assert {one.text for one in Rules(SWING).feed(no_impact) if one.rule == "turns-in-the-hips"} == {NO_IMPACT}


def test_the_trail_thigh_rules_say_that_they_are_a_coachs_target() -> None:
    for name in ("rules/swing", "drills/full-swings", "drills/rehearsal-from-the-top"):
        kind, _, one = name.partition("/")
        for rule in parse_rule_set(resources.text(kind, one), one).rules:
            about_the_thigh = rule.id.startswith("trail-thigh")
            assert (rule.basis == "A coach's target: common practice, no source.") is about_the_thigh
            assert "lost no angle" not in rule.text


def test_a_stall_is_nowhere_told_as_an_angle_that_does_not_fall() -> None:
    """It may fall by anything below the least slope."""
    causes = " ".join(one.text for one in shipped.causes())
    pages = " ".join(guides.text_of(name) for name in guides.names())
    for text in (causes, pages, " ".join(PHRASES.values())):
        for wrong in ("stopped falling", "stops falling", "stopped opening", "stops getting smaller"):
            assert wrong not in text


def earlier(values=TURNED_DEG, kind: str = "swing") -> EarlierBaseline:
    return EarlierBaseline({kind: tuple({"lead_hip_turn_in_deg": one} for one in values)}, "2030-05-04", "2030-05-06")


def test_a_baseline_of_before_counts_until_today_has_one_and_says_whence_it_is() -> None:
    rules = Rules(SWING, earlier())
    said = told(rules, rep(5.0))
    assert isinstance(said, Finding)
    assert said.basis == "Your own baseline: 6 reps of 2030-05-04 to 2030-05-06."
    rules.begin(Role.BASELINE)
    for k in range(LEAST_REPS):
        rules.feed(replace(rep(6.0), index=k))
    rules.begin(Role.SWINGS)
    assert told(rules, rep(5.0)) is None
    said = told(rules, rep(-5.0))
    assert isinstance(said, Finding)
    assert said.basis == "Your own baseline: 6 reps."


def test_a_baseline_of_before_is_of_one_kind_of_rep_too_and_needs_enough() -> None:
    assert isinstance(told(Rules(SWING, earlier(kind="full-swings")), rep(5.0)), Unjudged)
    assert isinstance(told(Rules(SWING, earlier(TURNED_DEG[:4])), rep(5.0)), Unjudged)


def test_a_discarded_rep_leaves_the_baseline_and_comes_back() -> None:
    rules = Rules(SWING)
    rules.begin(Role.BASELINE)
    for k, value in enumerate((*TURNED_DEG, -40.0)):
        rules.feed(replace(rep(value), index=k))
    rules.begin(Role.SWINGS)
    assert told(rules, rep(5.0)) is None, "one rep that was none makes the spread wide"
    rules.discard(6, on=True)
    assert isinstance(told(rules, rep(5.0)), Finding)
    rules.discard(6, on=False)
    assert told(rules, rep(5.0)) is None


LATE = (0.40, 0.42, 0.44, 0.41, 0.43, 0.42)
"""Shares of the turn at which the hips come level: median 0.42, spread below the least one."""


@pytest.mark.parametrize(
    ("values", "share", "verdict", "limit"),
    [
        ((), 0.85, None, None),  # within what holds for every golfer
        ((), 1.2, Verdict.FAULT, 1.0),
        (LATE, 0.65, None, None),  # far from the player's own, and still what coaches call fine
        (LATE, 0.85, Verdict.FAULT, 0.7),
        ((0.80, 0.82, 0.84, 0.81, 0.83, 0.82), 0.85, None, None),  # as always
        ((0.80, 0.82, 0.84, 0.81, 0.83, 0.82), 0.50, None, None),  # a change for the better
        ((0.80, 0.82, 0.84, 0.81, 0.83, 0.82), 1.2, Verdict.FAULT, 1.0),
        (LATE, 0.10, Verdict.FAULT, 0.15),
    ],
)
def test_a_baseline_narrows_limits_that_hold_for_every_golfer(
    values: tuple[float, ...], share: float, verdict: Verdict | None, limit: float | None
) -> None:
    rules = Rules(SWING)
    rules.begin(Role.BASELINE)
    for k, value in enumerate(values):
        rules.feed(replace(rep(level_turn_share=value, level_turn_sd_share=0.02), index=k))
    rules.begin(Role.SWINGS)
    said = told(rules, rep(level_turn_share=share, level_turn_sd_share=0.02), "hips-level-half-way")
    if verdict is None:
        assert said is None
    else:
        assert isinstance(said, Finding)
        assert (said.verdict, said.limit) == (verdict, pytest.approx(limit))


def test_a_target_that_is_put_back_to_where_its_dial_begins_is_none() -> None:
    usual = next(one.limit for one in SWING.rules if one.id == "lead-hip-turns-in")
    rules = Rules(with_limit(SWING, "lead-hip-turns-in", usual))
    assert isinstance(told(rules, rep(5.0)), Unjudged)


def test_a_coachs_target_takes_the_place_of_all_limits() -> None:
    rules = Rules(with_limit(SWING, "hips-level-half-way", 0.6), None)
    said = told(rules, rep(level_turn_share=0.65, level_turn_sd_share=0.02), "hips-level-half-way")
    assert isinstance(said, Finding)
    assert said.limit == 0.6
