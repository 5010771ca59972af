"""The set of drawn players: its lines, and that a limit of before would be seen to accuse them."""

from __future__ import annotations

import msgspec
import pytest

from imufeedback.measure.checks import Context
from imufeedback.measure.sets import golfer
from imufeedback.rules import parse_rule_set

OLD = """
[[rules]]
id = "turns-in-the-hips"
kind = "at-least"
feature = "own_axis_share"
limit = 0.5
unit = "1"
text = "One block."
"""


@pytest.fixture(name="quick")
def context(tmp_path) -> Context:
    return Context(tmp_path, None, quick=True, seed=7)


def test_the_three_rules_accuse_nobody(quick: Context) -> None:
    lines = {line.check: line for line in golfer.accused(quick)}
    for rule in golfer.OWN_RULES:
        line = lines[f"published players, {rule}: reps called a fault"]
        assert line.limit.high == 2
        assert line.ok
    assert lines["the same turning as one block, turns-in-the-hips: fault or unsure"].value > 90


def test_the_limit_of_before_accused_most_of_them(quick: Context, monkeypatch: pytest.MonkeyPatch) -> None:
    swing = golfer._rules()
    text = 'format = 1\nname = "swing"\ntitle = "x"\n[live]\nmin_slope = 0.1\ndead_turn_deg = 3\ndead_ms = 50\n'
    text += "target_deg = 2\ngrow_deg = 1\n[rep]\nmin_backswing_deg = 1\nmin_through_deg = 1\nmax_s = 9\n"
    old = msgspec.structs.replace(swing, rules=parse_rule_set(text + OLD, "old").rules)
    monkeypatch.setattr(golfer, "_rules", lambda: old)
    lines = {line.check: line for line in golfer.accused(quick)}
    line = lines["published players, turns-in-the-hips: reps called a fault"]
    assert not line.ok
    assert line.value > 60


def test_the_average_player_has_no_fault_beside_a_coachs_target(quick: Context) -> None:
    faults = [line for line in golfer.average(quick) if "faults" in line.check]
    assert len(faults) == 2
    assert all(line.ok for line in faults)


def test_players_are_like_the_published_ones_but_for_one_figure(quick: Context) -> None:
    missed = {line.check for line in golfer.like_the_published(quick) if not line.ok}
    assert missed <= {"peak rate outward, trail hip, women: mean off"}
