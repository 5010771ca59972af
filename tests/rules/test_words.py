"""Rules that could never fire are errors; the words that a rule may use are those that there are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rule_texts import HEAD

from imufeedback.cues.waveforms import SOUNDS as MADE
from imufeedback.errors import BadToml
from imufeedback.measure.golfer import play
from imufeedback.records import UNITS as ENDINGS
from imufeedback.report.plain_words import POSITIONS as NAMED
from imufeedback.rules import parse_limits, parse_rule_set, with_limit
from imufeedback.rules.vocabulary import FEATURES, POSITIONS, UNITS, unit_of
from imufeedback.sounds import BY_NAME
from imufeedback.synth.golfer import SEGMENTS
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.swing import Flaw

TEXT = (
    HEAD
    + """
[[rules]]
id = "one"
kind = "at-least"
feature = "lead_hip_turn_in_deg"
limit = 20.0
unit = "deg"
text = "Turn in."
"""
)


def changed(old: str, new: str) -> str:
    assert old in TEXT
    return TEXT.replace(old, new, 1)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ('feature = "lead_hip_turn_in_deg"\n', "", "feature is missing"),
        ("lead_hip_turn_in_deg", "lead_hip_turn_in_dge", "is 'lead_hip_turn_in_deg' meant?"),
        ("lead_hip_turn_in_deg", "bananas", "feature 'bananas' does not exist"),
        ('unit = "deg"', 'unit = "bananas"', "unit 'bananas' does not exist"),
        ('unit = "deg"', 'unit = "degs"', "is 'deg' meant?"),
        ('unit = "deg"', 'unit = "s"', "write 'deg'"),
        ('unit = "deg"', 'unit = "deg"\ncue = "nope"', "cue 'nope' does not exist"),
        ('unit = "deg"', 'unit = "deg"\ncue = "staled"', "is 'stalled' meant?"),
        ('unit = "deg"', 'unit = "deg"\nat = "impakt"', "is 'impact' meant?"),
        ('unit = "deg"', 'unit = "deg"\nsd = "lead_hip_turn_in_sdd_deg"', "is 'lead_hip_turn_in_sd_deg' meant?"),
        ('unit = "deg"', 'unit = "deg"\nlow = 10.0', "the kind 'at-least' has no low – only stays-within has it"),
        ('unit = "deg"', 'unit = "deg"\nother = "lead_hip_turn_in_deg"', "has no other – only sides-agree has it"),
        ('unit = "deg"', 'unit = "deg"\nalowed = [1.0, 30.0]', "has no alowed – is 'allowed' meant?"),
        ('unit = "deg"', 'unit = "deg"\nshorts = "Turn in"', "is 'short' meant?"),
        ('unit = "deg"', 'unit = "deg"\nshort = "One two three four five six seven"', "more than 6 words"),
        ('kind = "at-least"', 'kind = "at-lest"', "is 'at-least' meant?"),
        ('kind = "at-least"\n', "", "kind is missing"),
        (
            'kind = "at-least"',
            'kind = "keeps-falling"',
            "'lead_hip_turn_in_deg' is not what the kind 'keeps-falling' looks",
        ),
        ('kind = "at-least"', 'kind = "stays-within"\nlow = 30.0', "low 30 is above limit 20"),
        ('kind = "at-least"', 'kind = "sides-agree"', "other is missing"),
        ("limit = 20.0", "limit = nan", "rules[0].limit = nan"),
        ("limit = 20.0", "limit = -inf", "rules[0].limit = -inf"),
        ("limit = 20.0", "limit = 20.0\nallowed = [nan, 30.0]", "rules[0].allowed[0] = nan"),
        ("limit = 20.0", "limit = 20.0\nsd_factor = inf", "rules[0].sd_factor = inf"),
        ("target_deg = 2.0", "target_deg = nan", "live.target_deg = nan"),
    ],
)
def test_a_rule_that_could_never_fire_names_file_rule_and_field(old: str, new: str, says: str) -> None:
    with pytest.raises(BadToml) as caught:
        parse_rule_set(changed(old, new), "mine.toml")
    line = str(caught.value)
    assert line.startswith("mine.toml: ")
    assert says in line
    assert "nan" in line or "inf" in line or "'one'" in line


@given(st.sampled_from(["nan", "-nan", "inf", "-inf", "+inf", "1e999", "-1e999"]), st.booleans())
def test_no_limit_is_switched_off(value: str, live: bool) -> None:
    text = f"format = 1\n[{'live' if live else 'limits'}]\n{'target_deg' if live else 'knees-cross'} = {value}\n"
    with pytest.raises(BadToml, match=r"ana\.toml: (live\.target_deg|limits\.knees-cross) = "):
        parse_limits(text, "ana.toml")


@given(st.sampled_from([float("nan"), float("inf"), float("-inf")]), st.sampled_from(["one", "live.target_deg"]))
def test_nor_by_a_coach_while_the_session_runs(value: float, key: str) -> None:
    with pytest.raises(BadToml, match="is no limit"):
        with_limit(parse_rule_set(TEXT, "mine.toml"), key, value)


# ── the words ────────────────────────────────────────────────────────────────────────────────────────────────────


def test_every_measured_feature_and_mark_is_a_word_for_rules() -> None:
    played = play(make_script(pace=Pace.SLOW, flaw=(Flaw.STALL, Flaw.PUSH_BACK), reps=2, seed=3), SEGMENTS)
    for rep in played.reps:
        assert set(rep.features) <= FEATURES
        assert {position.removesuffix("_s") for position in rep.positions} <= set(POSITIONS)


def test_the_words_are_those_of_the_other_rooms() -> None:
    assert set(BY_NAME) == set(MADE)
    assert set(POSITIONS) == set(NAMED)
    assert set(UNITS) == set(ENDINGS)
    assert all(unit_of(name) for name in FEATURES)
