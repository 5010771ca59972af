"""Rule set, player, session: whose limit counts, and in which drills."""

from __future__ import annotations

import pytest

from imufeedback import resources
from imufeedback.errors import BadToml, UsageError
from imufeedback.rules import Layers, RuleSet, Whose, own_layer, parse_limits, parse_rule_set
from imufeedback.rules.layers import usual_of

FALLS, TARGET = "trail-thigh-keeps-falling", "live.target_deg"


def drill(name: str) -> RuleSet:
    return parse_rule_set(resources.text("drills", name), name)


FULL, HALF = drill("full-swings"), drill("half-swings")


def own(text: str) -> Layers:
    return own_layer(FULL, parse_limits(f"format = 1\n{text}", "own"))


def test_today_goes_over_the_player_and_the_player_over_the_rule_set() -> None:
    layers = own(f"[limits]\n{FALLS} = 7.0")
    assert usual_of(layers.over(FULL)[0], FALLS) == 7.0
    layers = layers.with_today(FULL, FALLS, 9.0)
    assert usual_of(layers.over(FULL)[0], FALLS) == 9.0
    changed = layers.of(FULL, FALLS)
    assert changed is not None
    assert (changed.whose, changed.usual) == (Whose.TODAY, usual_of(FULL, FALLS))


def test_a_rule_keeps_its_limit_in_every_drill_that_has_it() -> None:
    layers = Layers().with_today(FULL, FALLS, 9.0)
    for name in resources.available("drills"):
        now, lines = layers.over(drill(name))
        assert usual_of(now, FALLS) in (9.0, None)
        assert lines == []


def test_a_target_is_not_carried_to_a_drill_with_another_one() -> None:
    layers = Layers().with_today(FULL, TARGET, 5.0)
    assert usual_of(layers.over(FULL)[0], TARGET) == 5.0
    assert usual_of(layers.over(HALF)[0], TARGET) == usual_of(HALF, TARGET)
    layers = own("[live]\ntarget_deg = 5.0")
    assert usual_of(layers.over(HALF)[0], TARGET) == usual_of(HALF, TARGET)


def test_a_limit_out_of_a_drills_range_is_told_and_the_drills_own_counts() -> None:
    layers = own(f"[limits]\n{FALLS} = 900.0")
    now, lines = layers.over(FULL)
    assert usual_of(now, FALLS) == usual_of(FULL, FALLS)
    assert len(lines) == 1
    assert "out of range" in lines[0]


def test_what_cannot_be_set_is_refused() -> None:
    with pytest.raises(UsageError):
        Layers().with_today(FULL, "no-such-rule", 1.0)
    with pytest.raises(BadToml):
        Layers().with_today(FULL, FALLS, 900.0)
