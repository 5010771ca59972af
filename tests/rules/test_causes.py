"""From findings to a cause: a push back before the stall that follows, every rule leads somewhere, a coach's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback import resources, shipped
from imufeedback.errors import BadToml
from imufeedback.records import Finding, Verdict
from imufeedback.rules import parse_rule_set
from imufeedback.rules.cause import causes_of, parse_causes, together

CAUSES = parse_causes(resources.text("causes", "standard"), "standard")
GROWS, STALLS, TARGET = "trail-thigh-never-grows", "trail-thigh-keeps-falling", "trail-thigh-reaches-target"


KNEE = {"trail_knee_flexion_impact_deg": 30.0}


def found(*rules: str, verdict: Verdict = Verdict.FAULT) -> list[Finding]:
    return [Finding(rule, 0, 1.0 + k, 9.0, 5.0, "deg", verdict, "…", "stalled") for k, rule in enumerate(rules)]


def names(findings: list[Finding], features: dict[str, float] | None = None) -> list[str]:
    return [one.id for one in causes_of(CAUSES, findings, features or {})]


def test_a_push_back_outranks_the_stall_that_follows_it() -> None:
    assert names(found(GROWS, STALLS, TARGET)) == ["pushes-back"]
    assert names(found(STALLS, GROWS, TARGET), KNEE) == ["stalls"], "it began with the stall"
    assert names(found(STALLS, TARGET), KNEE) == ["stalls"]


def test_a_knee_that_stays_up_is_not_told_as_a_stall() -> None:
    high = {"trail_thigh_angle_min_deg": 18.0, "trail_thigh_loss_top_finish_deg": 3.0}
    stall = {"trail_thigh_angle_min_deg": 9.0, "trail_thigh_loss_top_finish_deg": 14.0, **KNEE}
    assert names(found(STALLS, TARGET), high)[0] == "knee-stays-up"
    assert names(found(STALLS, TARGET), stall)[0] == "stalls"


def test_a_trail_knee_is_compared_with_the_players_own() -> None:
    bent = {"trail_knee_flexion_impact_deg": 50.0, "trail_thigh_loss_top_finish_deg": 20.0}
    assert names(found(STALLS, TARGET), bent) == ["knee-stays-up"]
    usual, more = ({**bent, "trail_knee_flexion_impact_over_own_deg": over} for over in (2.0, 17.0))
    assert names(found(STALLS, TARGET), usual) == ["stalls"], "this player's knee is always so"
    assert names(found(STALLS), more) == ["knee-stays-up"]


def test_without_the_knees_both_are_named() -> None:
    (both,) = causes_of(CAUSES, found(STALLS, TARGET), {"trail_thigh_loss_top_finish_deg": 20.0})
    assert both.text == (
        "The trail hip hardly opened, or the trail knee stayed up; sensors on the shanks would tell which."
    )
    assert both.drill == "rehearsal-from-the-top"


def test_a_baseline_shows_what_stops_short() -> None:
    short = {"pelvis_turn_finish_over_own_deg": -20.0, "pelvis_turn_finish_deg": 80.0}
    usual = {**short, "pelvis_turn_finish_over_own_deg": -1.0}
    assert names(found(GROWS, SITTING), short)[0] == "stops-short"
    assert names(found(GROWS, SITTING), usual)[0] == "pushes-back"
    assert names([], short) == [], "nothing is wrong with it"
    assert names(found(TARGET, verdict=Verdict.UNSURE), short) == ["stops-short"]
    assert names(found(TARGET, verdict=Verdict.UNSURE), usual) == []


def test_what_is_unsure_has_no_cause() -> None:
    assert names(found(GROWS, verdict=Verdict.UNSURE)) == []


def test_what_nothing_explains_is_told_too() -> None:
    assert names(found(GROWS, STALLS, "lead-knee-gives")) == ["pushes-back", "lead-knee-gives"]


def test_every_rule_that_ships_leads_to_a_sentence_and_a_drill() -> None:
    rules = {
        rule.id for kind in ("rules", "drills") for text in resources.shipped(kind)
        for rule in parse_rule_set(text, kind).rules
    }  # fmt: skip
    assert rules
    for rule in rules:
        (first, *_) = causes_of(shipped.causes(), found(rule), {})
        assert first.text
        assert first.feel
        assert first.drill in resources.available("drills")


def test_order_and_size_can_be_asked_for() -> None:
    text = """
format = 1
[[causes]]
id = "early"
signs = [{ rule = "a", before = "b", least = 8.0 }]
text = "t"
feel = "f"
short = "s"
drill = "full-swings"
"""
    (one,) = parse_causes(text, "own")
    assert one.holds(found("a", "b"), {})
    assert one.holds(found("a"), {})
    assert not one.holds(found("b", "a"), {})
    small = [Finding("a", 0, 1.0, 7.0, 5.0, "deg", Verdict.FAULT, "…", "stalled")]
    assert not one.holds(small, {})


OWN = """
format = 1
[[causes]]
id = "pushes-back"
signs = [{ rule = "trail-thigh-never-grows" }]
text = "My own words."
feel = "f"
short = "My own short words"
drill = "half-swings"
"""


def test_a_coachs_own_stands_for_what_ships() -> None:
    causes = together(parse_causes(OWN, "own"), CAUSES)
    assert len(causes) == len(CAUSES)
    assert causes_of(causes, found(GROWS), {})[0].text == "My own words."


def test_own_files_are_read_from_the_data_folder_and_bad_ones_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    (tmp_path / "causes").mkdir()
    (tmp_path / "causes" / "mine.toml").write_text(OWN, encoding="utf-8")
    (tmp_path / "causes" / "other.toml").write_text("format = 2", encoding="utf-8")
    assert shipped.causes()[0].text == "My own words."
    assert len(shipped.cause_troubles()) == 1
    assert "other" in shipped.cause_troubles()[0]


@pytest.mark.parametrize(
    "wrong",
    [
        OWN.replace("My own short words", "one two three four five six seven"),
        OWN.replace('{ rule = "trail-thigh-never-grows" }', "{ least = 1.0 }"),
        OWN.replace('{ rule = "trail-thigh-never-grows" }', "{ any = [{ least = 1.0 }] }"),
        OWN.replace('[{ rule = "trail-thigh-never-grows" }]', "[]"),
        OWN.replace("feel", "feels"),
    ],
)
def test_what_makes_no_sense_is_refused(wrong: str) -> None:
    with pytest.raises(BadToml):
        parse_causes(wrong, "own")


LEVEL = "hips-level-half-way"
SITS = {"least_flexed_hip_finish_deg": 17.0}
STIFF = {"knees_cross_turn_over_own_share": 0.6, "level_turn_over_own_share": 0.15}
SITTING, SHARE, LEAD, BACK = (
    "hips-not-still-flexed", "turns-in-the-hips", "lead-hip-turns-in", "trail-hip-turns-in-back",
)  # fmt: skip


@pytest.mark.parametrize(
    ("rules", "features", "first"),
    [
        ((SITTING, TARGET, STALLS), {"lead_thigh_angle_finish_deg": 31.0, **SITS}, "stays-sitting"),
        ((SITTING, TARGET, STALLS), {"lead_thigh_angle_finish_deg": 8.0, **KNEE}, "stalls"),
        ((SITTING, TARGET), {"lead_thigh_angle_finish_deg": 31.0, "pelvis_turn_finish_deg": 60.0}, "stops-short"),
        ((SITTING, TARGET), {"lead_thigh_angle_finish_deg": 31.0, "pelvis_turn_finish_deg": 92.0}, "stays-sitting"),
        ((SHARE, LEAD), {"trail_hip_turn_out_deg": 21.0}, "lead-hip-does-not-turn"),
        ((SHARE, LEAD), {"trail_hip_turn_out_deg": 4.0}, "one-block"),
        (
            (SHARE, LEAD),
            {"trail_hip_turn_out_deg": 4.0, "trail_hip_turn_out_over_own_deg": 1.0},
            "lead-hip-does-not-turn",
        ),
        ((SHARE, BACK), {}, "block-on-the-way-back"),
        ((LEVEL, "knees-cross"), STIFF, "knees-do-not-trade"),
        ((LEVEL, "knees-cross"), {**STIFF, "level_turn_over_own_share": 0.5}, "levels-at-the-wrong-time"),
        ((LEVEL, "knees-cross"), {"knees_cross_turn_over_own_share": 0.2}, "levels-at-the-wrong-time"),
        ((STALLS, "lead-knee-gives"), {"trail_thigh_flat_turn_deg": 7.0}, "lead-knee-gives"),
        ((STALLS, "lead-knee-gives"), {"trail_thigh_flat_turn_deg": 30.0}, "stalls"),
        ((SHARE, LEAD, BACK), {}, "one-block"),
    ],
)
def test_what_looks_alike_is_told_apart_by_a_second_sign(
    rules: tuple[str, ...], features: dict[str, float], first: str
) -> None:
    assert names(found(*rules), features)[0] == first


def test_a_cause_goes_ahead_only_of_what_it_names() -> None:
    assert names(found(GROWS, SITTING), {"lead_thigh_angle_finish_deg": 31.0}) == ["pushes-back"]
