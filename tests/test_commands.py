"""Recorded commands of any kind: obeyed, or told and passed over; never an exception."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sessions import begin

from imufeedback.commands import (
    VERBS,
    AcceptSwap,
    AddNote,
    AnyCommand,
    BeginBlock,
    BeginFit,
    CancelFit,
    Discard,
    Estimate,
    FittedSegment,
    FitWindows,
    GoToStep,
    Keep,
    Malformed,
    MarkGood,
    Mute,
    Pain,
    Pause,
    SetFit,
    SetLimit,
    SetZero,
    SwitchSound,
    UndoZero,
    parse,
    recorded,
    settings_of,
)
from imufeedback.errors import ImuFeedbackError
from imufeedback.pipeline import Pipeline
from imufeedback.records import Command, Event, Level, Mode, Notice, Role, Segment
from imufeedback.rules import parse_rule_set

TRIED = (
    *("cue", "mute", "fit", "set-fit", "limit", "block", "estimate", "note", "pain", "zero", "zero-undo", "keep"),
    "step",
    *("swap", "fit-begin", "fit-cancel", "begin", "pause", "good", "discard", "verb-of-a-newer-version"),
)
KEYS = (
    *("sound", "on", "still", "flex", "method", "segments", "caution", "key", "value", "name", "role", "mode"),
    *("share", "estimate", "rule_set", "rep", "answer"),
)
PLAIN = st.none() | st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats() | st.text(max_size=12)
JSON = st.recursive(PLAIN, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=4), inner))


def fed(*commands: Command) -> list[Event]:
    pipeline = Pipeline()
    pipeline.feed(begin("house"))
    out = [event for one in commands for event in pipeline.feed(one)]
    return out + pipeline.finish()


@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(st.tuples(st.sampled_from(TRIED), st.dictionaries(st.sampled_from(KEYS), JSON)), max_size=4))
def test_no_command_raises(commands: list[tuple[str, dict[str, Any]]]) -> None:
    fed(*(Command(10**6 * k, verb, args) for k, (verb, args) in enumerate(commands)))


@pytest.mark.parametrize(
    ("verb", "args", "says"),
    [
        ("cue", {}, "cue: "),
        ("cue", {"sound": "of-tomorrow", "on": True}, "there is no sound 'of-tomorrow'"),
        ("mute", {}, "missing required field `on`"),
        ("fit", {}, "missing required field `still`"),
        ("fit", {"still": [0, float("nan")], "flex": [1, 2]}, "still.1 is nan"),
        ("set-fit", {}, "set-fit: "),
        ("set-fit", {"method": "m", "segments": [{"segment": "tail"}]}, "tail"),
        ("limit", {"key": "knees-cross", "value": float("inf")}, "value is inf"),
        ("limit", {"key": "knee-cross", "value": 0.6}, "knees-cross"),
        ("block", {"name": "x", "role": "swings", "mode": "telepathy"}, "telepathy"),
        ("block", {"name": "x", "role": "swings", "share": 1.5}, "share"),
        ("block", {"name": "x", "role": "swings", "share": "all"}, "share"),
        ("block", {"name": "x", "role": "swings", "rule_set": "[" * 5000}, "block: "),
        ("fit", {"still": [0, 1], "flex": {"pelvis": [1, 2]}}, "no movement of the left thigh, right thigh is named"),
        ("note", {"text": 7}, "text"),
        ("estimate", {"rep": "many"}, "estimate: "),
        ("begin", {}, "begins once"),
    ],
)
def test_what_makes_no_sense_is_told_by_its_verb(verb: str, args: dict[str, Any], says: str) -> None:
    (notice,) = [one for one in fed(Command(10**9, verb, args)) if isinstance(one, Notice)]
    assert notice.t_s == 1.0
    assert notice.text.startswith(f"{verb}: ")
    assert notice.text.endswith(" – passed over")
    assert len(notice.text.splitlines()) == 1
    assert says in notice.text


def test_nesting_without_end_is_told() -> None:
    deep: Any = 1
    for _ in range(100_000):
        deep = [deep]
    assert isinstance(parse(Command(0, "set-fit", {"method": "m", "segments": deep})), Malformed)


def test_commands_that_are_right_are_not_told() -> None:
    right = [
        Command(1, "cue", {"sound": "stalled", "on": False}),
        Command(2, "mute", {"on": True}),
        Command(3, "limit", {"key": "live.target_deg", "value": 4}),
        Command(4, "note", {"text": "=1+1"}),
        Command(5, "verb-of-tomorrow", {"anything": [None]}),
    ]
    assert not [one for one in fed(*right) if isinstance(one, Notice)]


WRITTEN: tuple[tuple[AnyCommand, str, dict[str, Any]], ...] = (
    (BeginFit(), "fit-begin", {}),
    (CancelFit(), "fit-cancel", {}),
    (AcceptSwap(), "swap", {}),
    (Keep(), "keep", {}),
    (SetZero(), "zero", {}),
    (UndoZero(), "zero-undo", {}),
    (Pain(), "pain", {}),
    (GoToStep(2), "step", {"number": 2}),
    (FitWindows((1.0, 2.0), (3.0, 4.0)), "fit", {"still": [1.0, 2.0], "flex": [3.0, 4.0]}),
    (
        FitWindows((1.0, 2.0), {Segment.PELVIS: (3.0, 4.0)}),
        "fit",
        {"still": [1.0, 2.0], "flex": {"pelvis": [3.0, 4.0]}},
    ),
    (
        SetFit("m", (FittedSegment(Segment.PELVIS, (1.0, 0.0, 0.0, 0.0), Level.GOOD, 0.05, None),)),
        "set-fit",
        {
            "method": "m",
            "segments": [
                {
                    "segment": "pelvis",
                    "q_sb": [1.0, 0.0, 0.0, 0.0],
                    "level": "good",
                    "sd_rad": 0.05,
                    "reason": None,
                    "acc_bias_m_s2": [0.0, 0.0, 0.0],
                    "sd_axes_rad": None,
                }
            ],
        },
    ),
    (SetFit("m", (), "of yesterday"), "set-fit", {"method": "m", "segments": [], "caution": "of yesterday"}),
    (SwitchSound("losing", True), "cue", {"sound": "losing", "on": True}),
    (Mute(False), "mute", {"on": False}),
    (SetLimit("live.target_deg", 4.0), "limit", {"key": "live.target_deg", "value": 4.0}),
    (
        BeginBlock("two", Role.DRILL, Mode.FADED, 0.5, True, "text"),
        "block",
        {"name": "two", "role": "drill", "mode": "faded", "share": 0.5, "estimate": True, "rule_set": "text"},
    ),
    (Estimate(3, "good"), "estimate", {"rep": 3, "answer": "good"}),
    (AddNote("of the day"), "note", {"text": "of the day"}),
    (AddNote("of a rep", 2), "note", {"text": "of a rep", "rep": 2}),
    (Pause(True), "pause", {"on": True}),
    (MarkGood(1, False), "good", {"rep": 1, "on": False}),
    (Discard(1, True), "discard", {"rep": 1, "on": True}),
)
"""What stands in recordings of every version so far."""


@pytest.mark.parametrize(("command", "verb", "args"), WRITTEN)
def test_a_command_is_recorded_as_verb_and_arguments_and_read_back(
    command: AnyCommand, verb: str, args: dict[str, Any]
) -> None:
    item = recorded(5, command)
    assert (item.host_ns, item.verb) == (5, verb)
    assert msgspec.msgpack.encode(item) == msgspec.msgpack.encode(Command(5, verb, args))
    assert parse(Command(5, verb, args)) == command


def test_every_verb_is_written_as_ever() -> None:
    assert {verb for _, verb, _ in WRITTEN} | {"begin"} == VERBS


# ── the first one ────────────────────────────────────────────────────────────────────────────────────────────────


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_settings_that_make_no_sense_are_one_line(data: st.DataObject) -> None:
    args = dict(begin("house").args)
    key = data.draw(st.sampled_from([*args, "sensors", "layouts", "rule_set"]))
    args[key] = data.draw(JSON)
    with suppress(ImuFeedbackError):  # whose text is one line: tests/test_plain.py
        Pipeline().feed(Command(0, "begin", args))


def begun(**changed: Any) -> list[str]:
    events = Pipeline().feed(Command(0, "begin", {**begin("house").args, **changed}))
    return [one.text for one in events if isinstance(one, Notice)]


def test_a_misspelt_limit_is_told_with_the_nearest_rule() -> None:
    (text,) = begun(limits="format = 1\n[limits]\ntrail-thigh-keep-falling = 8.0\n")
    assert "'trail-thigh-keep-falling'" in text
    assert "'trail-thigh-keeps-falling'" in text
    assert begun(limits="format = 1\n[limits]\ntrail-thigh-keeps-falling = 8.0\n") == []


def test_limits_that_cannot_be_read_are_told_and_the_usual_ones_count() -> None:
    (text,) = begun(limits="format = 1\n[limits]\ntrail-thigh-keeps-falling = nan\n")
    assert "limits.trail-thigh-keeps-falling = nan" in text
    assert "usual" in text


def test_a_rule_set_of_a_newer_version_is_judged_without_what_is_new() -> None:
    text = settings_of(begin("house")).rule_set
    newer = text.replace('kind = "at-least-own"', 'kind = "dances"', 1).replace('cue = "regaining"', 'cue = "gong"', 1)
    told = begun(rule_set=newer)
    assert len(told) == 2
    assert any("'dances'" in one for one in told)
    assert any("'gong'" in one for one in told)
    with pytest.raises(ImuFeedbackError):
        parse_rule_set(newer, "as one's own file it is an error")
