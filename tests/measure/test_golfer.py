"""The set of drawn players: its lines, and that a limit of before would be seen to accuse them."""

from __future__ import annotations

from pathlib import Path

import limits_page
import msgspec
import numpy as np
import pytest

from imufeedback.measure.checks import Context
from imufeedback.measure.drawn_flaws import FLAWS, made
from imufeedback.measure.drawn_reps import reps_of, standing
from imufeedback.measure.drawn_session import with_sensors
from imufeedback.measure.rule_limits import Before, seen
from imufeedback.measure.sets import golfer
from imufeedback.measure.swingers import swing_rules
from imufeedback.records import Hand
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


# ── limits, and flaws on the chain ───────────────────────────────────────────────────────────────────────────────

PAGE = Path(limits_page.__file__).parents[2] / "imufeedback" / "rules" / "sets" / "LIMITS.md"


def test_the_page_beside_the_rules_has_every_flaw_and_the_limits_of_today() -> None:
    text = PAGE.read_text(encoding="utf-8")
    for rule in swing_rules().rules:
        assert f"## {rule.id}\n\n`{rule.feature}`; {limits_page.limit_words(rule)}.\n" in text
    for flaw in FLAWS:
        assert text.count(f"| {flaw.name}, ") == 3


def test_the_page_says_what_is_measured() -> None:
    """The same rows of fewer other players: shares within what so few show."""
    rules, rng = swing_rules(), np.random.default_rng(5)
    before = Before.of(rng, standing(rng, 60), rules)
    text = PAGE.read_text(encoding="utf-8")
    for one in seen(before, rules, [flaw for flaw in FLAWS if flaw.name in ("level late", "sitting")]):
        part = text[text.index(f"## {one.flaw.rule}") :]
        name = limits_page.row(one).split(" | ")[0]
        (line, *_) = [line for line in part.splitlines() if line.startswith(f"{name} |")]
        cells = [float(cell) for cell in line.split("|")[3:12]]
        assert np.median(one.values) == pytest.approx(cells[2], abs=0.15 + 0.2 * abs(cells[2]))
        assert one.own[0] == pytest.approx(cells[7], abs=18)


@pytest.mark.parametrize("flaw", FLAWS, ids=lambda flaw: flaw.name)
def test_a_grosser_flaw_shows_more_in_its_feature(flaw) -> None:
    rules = swing_rules()
    drawn = standing(np.random.default_rng(3), 12)
    feature = next(rule.feature for rule in rules.rules if rule.id == flaw.rule)
    middles = []
    for flaws in ((), *([(flaw, size)] for size in flaw.sizes)):
        moved = made(drawn, flaws, falls=True)
        middles.append(np.median([rep.features[feature] for rep in reps_of(moved, rules)]))
    steps = np.diff(middles)
    assert (steps > 0).all() or (steps < 0).all(), middles


def test_a_drawn_rep_is_measured_alike_with_sensors() -> None:
    rules = swing_rules()
    drawn = standing(np.random.default_rng(4), 1)
    moved = made(drawn, (), falls=True)
    (exact,) = reps_of(moved, rules)
    (rep,) = with_sensors(moved, [0], float(drawn.stature[0]), Hand.LEFT, 4).reps
    assert rep is not None
    for name in ("pelvis_turn_top_deg", "trail_thigh_angle_top_deg", "pelvis_side_tilt_impact_deg"):
        assert rep.features[name] == pytest.approx(exact.features[name], abs=3)
