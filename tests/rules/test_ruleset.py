"""Rule sets: what ships is sound, and what is wrong in one's own file is named."""

from __future__ import annotations

import math
from importlib.resources import files

import msgspec
import pytest
from rule_texts import HEAD
from swings import SWING, address, angles, course, cut, ramp

from imufeedback import resources
from imufeedback.conduct.limits import live_limits, rep_limits
from imufeedback.cues.waveforms import SOUNDS
from imufeedback.errors import BadToml, UsageError
from imufeedback.motion import LiveLimits, MotionStage, RepLimits
from imufeedback.records import Hand, Rep, sd_name
from imufeedback.rules import parse_limits, parse_rule_set, with_limit, with_limits
from imufeedback.rules.kinds import kinds

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
SETS = files("imufeedback") / "rules/sets"
SHIPPED = sorted(one.name.removesuffix(".toml") for one in SETS.iterdir() if one.name.endswith(".toml"))
FIXED_IDS = {"trail-thigh-keeps-falling", "trail-thigh-never-grows", "turns-in-the-hips", "lead-hip-turns-in"}


def parsed(old: str = "", new: str = ""):
    assert old in TEXT
    return parse_rule_set(TEXT.replace(old, new, 1) if old else TEXT + new, "mine.toml")


def test_a_rule_set():
    found = parsed()
    assert (found.name, found.title) == ("mine", "Mine")
    assert found.live.min_slope == 0.06
    assert found.rep.max_s == 25.0
    (rule,) = found.rules
    assert (rule.id, rule.kind, rule.limit, rule.sd, rule.sd_factor) == ("one", "at-least", 20.0, None, 1.0)


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        ("min_slope = 0.06", "min_slop = 0.06", "min_slop"),
        ("min_slope = 0.06", "", "min_slope"),
        ("min_slope = 0.06", "min_slope = 0.0", "live.min_slope"),
        ("min_slope = 0.06", "min_slope = 'much'", "live.min_slope"),
        ("dead_turn_deg = 3.0", "dead_turn_deg = -3.0", "live.dead_turn_deg"),
        ("dead_turn_deg = 3.0", "dead_turn_deg = 60", "live.dead_turn_deg"),
        ("dead_ms = 50.0", "dead_ms = 5000", "live.dead_ms"),
        ("target_deg = 2.0", "target_deg = 400", "live.target_deg"),
        ("grow_deg = 1.0", "grow_deg = nan", "live.grow_deg"),
        ("min_backswing_deg = 15.0", "min_backswing_deg = -1", "rep.min_backswing_deg"),
        ("max_s = 25.0", "max_s = 0.1", "rep.max_s"),
        ('id = "one"', 'id = "One rule"', "rules[0].id"),
        ("limit = 20.0", "limit = []", "rules[0].limit"),
        ("limit = 20.0", "limit = 20.0\nlimits = 3", "limits"),
        ("format = 1", "format = 2", "format"),
        ('title = "Mine"', "", "title"),
        ("[live]", "[life]", "life"),
        ("format = 1", "format = ", "line 2"),
    ],
)
def test_a_wrong_key_or_value_is_named_with_its_file(old, new, named):
    with pytest.raises(BadToml) as caught:
        parsed(old, new)
    line = str(caught.value)
    assert named in line
    assert line.startswith("mine.toml: ")
    assert "\n" not in line


def test_an_unknown_kind_lists_the_known_ones():
    with pytest.raises(BadToml) as caught:
        parsed('kind = "at-least"', 'kind = "at-most-of-all"')
    assert "'one'" in str(caught.value)
    assert "'at-most-of-all'" in str(caught.value)
    for name in kinds():
        assert name in str(caught.value)


def test_one_id_twice_is_an_error():
    again = TEXT[TEXT.index("[[rules]]") :]
    with pytest.raises(BadToml, match="'one' stands there twice"):
        parsed("", again)


# ── what ships ───────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(scope="module")
def features() -> set[str]:
    """Names that a whole rep with a stall can have."""
    motion = MotionStage(hand=Hand.RIGHT, live=LiveLimits(), rep=RepLimits())
    whole = angles(course(SWING), thigh=ramp((-42, 23), (-8, 15), (32, 15), (85, 5)))
    out = [one for item in [address(), *cut(whole, 50)] for one in motion.feed(item)]
    (rep,) = [one for one in out if isinstance(one, Rep)]
    return set(rep.features)


@pytest.mark.parametrize("name", SHIPPED)
def test_a_shipped_rule_set_parses_and_its_kinds_and_features_exist(name, features):
    found = parse_rule_set((SETS / f"{name}.toml").read_text("utf-8"), name)
    assert found.name == name
    assert found.rules
    for rule in found.rules:
        assert rule.kind in kinds()
        if "knee" not in str(rule.feature):  # no shanks here
            assert rule.feature in features
            assert sd_name(rule.feature) in features
        assert rule.text.strip()
        assert rule.unit in {"deg", "s", "1", "deg/s"}
        assert rule.feature is not None
        assert rule.allowed is not None
        assert rule.cue in SOUNDS


def test_the_swing_set_has_the_ids_that_others_rely_on():
    found = parse_rule_set((SETS / "swing.toml").read_text("utf-8"), "swing")
    assert {rule.id for rule in found.rules} >= FIXED_IDS


# ── a coach's own limits ─────────────────────────────────────────────────────────────────────────────────────────


@pytest.fixture(name="swing")
def swing_set():
    return parse_rule_set((SETS / "swing.toml").read_text("utf-8"), "swing")


def limit_of(rule_set, name: str) -> float:
    return next(one.limit for one in rule_set.rules if one.id == name)


def test_a_players_limits_replace_those_of_the_set(swing):
    own = parse_limits(
        'format = 1\nplayer = "ana"\n[limits]\nlead-hip-turns-in = 40.0\nof-another-drill = 3.0\n'
        "[live]\ntarget_deg = 6.0",
        "ana.toml",
    )
    changed = with_limits(swing, own, "ana.toml")
    assert limit_of(changed, "lead-hip-turns-in") == 40.0
    assert limit_of(changed, "turns-in-the-hips") == limit_of(swing, "turns-in-the-hips")
    assert (changed.live.target_deg, changed.live.grow_deg) == (6.0, swing.live.grow_deg)
    assert limit_of(swing, "lead-hip-turns-in") == 35.0, "the set itself stays"


def test_a_limit_out_of_range_names_file_key_and_range(swing):
    own = parse_limits("format = 1\n[limits]\nlead-hip-turns-in = 400.0", "ana.toml")
    with pytest.raises(BadToml) as caught:
        with_limits(swing, own, "ana.toml")
    assert str(caught.value) == "ana.toml: limits.lead-hip-turns-in = 400 is out of range – choose 5 to 90"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("format = 1\n[live]\nslope = 0.1", "slope"),
        ("format = 1\n[live]\ngrow_deg = -1.0", "grow_deg"),
    ],
)
def test_a_wrong_key_or_value_of_the_live_limits_is_named(swing, text, says):
    with pytest.raises(BadToml, match=r"ana\.toml") as caught:
        with_limits(swing, parse_limits(text, "ana.toml"), "ana.toml")
    assert says in str(caught.value)


def test_unknown_keys_of_a_limits_file_are_errors():
    with pytest.raises(BadToml, match="limts"):
        parse_limits("format = 1\n[limts]", "ana.toml")


def test_one_limit_is_changed_by_its_key(swing):
    assert limit_of(with_limit(swing, "knees-cross", 0.6), "knees-cross") == 0.6
    assert with_limit(swing, "live.dead_turn_deg", 5.0).live.dead_turn_deg == 5.0
    with pytest.raises(UsageError, match="no rule is called 'knee'"):
        with_limit(swing, "knee", 0.6)
    with pytest.raises(BadToml, match="out of range"):
        with_limit(swing, "knees-cross", 6.0)


def test_a_limit_outside_its_own_range_is_an_error():
    with pytest.raises(BadToml, match="not inside its own range"):
        parsed("limit = 20.0", "limit = 20.0\nallowed = [50.0, 60.0]")


@pytest.mark.parametrize("name", ["rules/swing", "drills/full-swings", "drills/rehearsal-from-the-top"])
def test_the_tone_comes_when_a_stall_is_longer_than_the_finding_allows(name: str) -> None:
    kind, _, one = name.partition("/")
    rules = parse_rule_set(resources.text(kind, one), one)
    for longest in (rules, with_limit(rules, "trail-thigh-keeps-falling", 9.0)):
        limit = next(rule.limit for rule in longest.rules if rule.id == "trail-thigh-keeps-falling")
        assert math.degrees(live_limits(longest).dead_turn_rad) == pytest.approx(limit)
        assert live_limits(longest).min_slope == rep_limits(longest).min_slope


def test_a_rule_set_of_before_keeps_its_own_length_for_the_tone(swing) -> None:
    before = msgspec.structs.replace(swing, live=msgspec.structs.replace(swing.live, dead_turn_deg=3.0))
    assert math.degrees(live_limits(before).dead_turn_rad) == pytest.approx(3.0)
