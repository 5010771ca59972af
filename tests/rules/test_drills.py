"""Drills and plans that ship, how a player goes up their steps, and what cannot be written into them."""

from __future__ import annotations

import re

import pytest

from imufeedback import resources
from imufeedback.cues.waveforms import SOUNDS
from imufeedback.errors import BadToml
from imufeedback.figure.posture import POSTURES
from imufeedback.records import Mode, Role
from imufeedback.rules import parse_rule_set
from imufeedback.rules.plan import parse_plan

DRILLS = resources.available("drills")


def drill_of(name: str):
    return parse_rule_set(resources.text("drills", name), f"{name}.toml")


def test_these_drills_exist():
    assert set(DRILLS) >= {
        "hip-turn-lead",
        "hip-turn-trail",
        "shaft-across-the-hips",
        "rehearsal-from-the-top",
        "half-swings",
        "full-swings",
        "through-from-address",
        "half-way-stop",
        "from-the-finish-back",
        "knee-stays-hip-through",
        "mirrored-backswing",
    }


@pytest.mark.parametrize("name", DRILLS)
def test_a_drill_says_how_it_is_done_builds_up_and_says_when_to_stop(name):
    found = drill_of(name)
    assert found.name == name
    drill = found.drill
    assert drill is not None
    assert len(drill.instructions) >= 2
    assert "Stop at once" in drill.stop
    paces = [step.least_s for step in drill.steps]
    assert paces == sorted(paces, reverse=True), "slow before fast"
    assert len(paces) >= 2
    assert set(drill.cues) <= set(SOUNDS)
    assert 'stop = "' in resources.text("drills", name), "every drill has a caution of its own"
    for step in drill.steps:
        assert len(re.findall(r"[.!?](?= |$)", step.text)) == 2, f"two sentences: {step.text}"
        assert step.still
        assert step.picture in POSTURES
        assert step.least_s < step.most_s
    assert all(rule.allowed is not None for rule in found.rules)


@pytest.mark.parametrize("side", ["lead", "trail"])
def test_hip_turns_check_the_thigh_before_the_range_and_keep_the_position(side):
    found = drill_of(f"hip-turn-{side}")
    assert [rule.form for rule in found.rules] == [True, True, True, False]
    assert found.drill.side == side
    assert "stance" in found.drill.position


def test_a_drill_that_is_found_in_no_known_way_is_an_error():
    text = resources.text("drills", "full-swings").replace('detect = "swing"', 'detect = "guess"')
    with pytest.raises(BadToml, match="detect"):
        parse_rule_set(text, "mine.toml")


# ── plans ────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_screening_asks_for_three_good_turns_each_way_of_each_hip_and_is_one_position():
    plan = parse_plan(resources.text("plans", "screening"), "screening")
    assert [block.drill for block in plan.blocks] == ["screening-trail", "screening-lead"]
    for block in plan.blocks:
        drill = drill_of(block.drill).drill
        assert block.steps
        assert [(step.direction, step.reps) for step in drill.steps] == [("in", 3), ("out", 3)]
        assert "diagnose" in drill.instructions[0]


@pytest.mark.parametrize("name", [one for one in resources.available("plans") if one != "screening"])
def test_a_plan_begins_with_a_baseline_and_ends_with_a_test_and_knows_its_drills(name):
    plan = parse_plan(resources.text("plans", name), name)
    roles = [block.role for block in plan.blocks]
    assert (roles[0], roles[-1]) == (Role.BASELINE, Role.TEST)
    assert Role.DRILL in roles
    assert Role.SWINGS in roles
    for block in plan.blocks:
        assert block.drill in DRILLS
    assert plan.blocks[0].drill == plan.blocks[-1].drill, "so that they can be compared"
    shares = [block.share for block in plan.blocks if block.mode is Mode.FADED]
    assert shares == sorted(shares, reverse=True)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('role = "test"', 'role = "exam"', "exam"),
        ("share = 0.5", "share = 5", "share"),
        ('role = "baseline"\ndrill = "full-swings"\nreps = 8\nmode = "none"',
         'role = "baseline"\ndrill = "full-swings"\nreps = 8\nmode = "concurrent"', "baseline with tones"),
    ],
)  # fmt: skip
def test_what_a_plan_cannot_say(old, new, says):
    text = resources.text("plans", "standard")
    assert old in text
    with pytest.raises(BadToml, match=says):
        parse_plan(text.replace(old, new), "mine.toml")
