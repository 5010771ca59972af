"""What a coach can ask of a running session: limits, blocks, pain, estimates; and that a replay knows it all."""

from __future__ import annotations

from functools import cache

import pytest

from imufeedback import resources
from imufeedback.errors import BadToml
from imufeedback.measure.golfer import items
from imufeedback.pipeline import Pipeline, run
from imufeedback.records import (
    Angles,
    BlockBegun,
    Command,
    Cue,
    Event,
    Finding,
    Item,
    LimitChanged,
    Mode,
    Notice,
    Rep,
    Role,
    Segment,
    SelfEstimate,
    StateChanged,
    StepTold,
    Unjudged,
    Verdict,
    same,
)
from imufeedback.synth.flaws import Amiss, Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.practice import HipTurnMotion, make_practice_script
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN

SWINGS = make_script(pace=Pace.FULL, flaw=[[Amiss(Flaw.LEG_TURN, 0.6)]] * 2, reps=2, seed=3)
FAULT = Verdict.FAULT
BETWEEN_S = SWINGS.truth.reps[0].finish_s + 1.0


@cache
def packets() -> tuple[Item, ...]:
    return tuple(items(SWINGS, WORN))


def with_commands(*asked: tuple[float, str, dict], of=packets) -> list[Item]:
    """A session's items with commands at their times (s)."""
    commands = [Command(int(t_s * 1e9), verb, args) for t_s, verb, args in asked]
    return [of()[0], *sorted([*of()[1:], *commands], key=lambda one: one.host_ns)]


def events(*asked: tuple[float, str, dict]) -> list[Event]:
    return list(run(with_commands(*asked)))


LEAD_HIP = {"key": "lead-hip-turns-in", "value": 25.0}
"""A coach's target; without one, or a baseline, this rule is not judged."""


def found(out: list[Event], rule: str) -> list[int]:
    return [one.rep for one in out if isinstance(one, Finding) and one.rule == rule and one.verdict is FAULT]


def notices(out: list[Event]) -> list[str]:
    return [one.text for one in out if isinstance(one, Notice)]


def test_a_limit_counts_from_the_next_rep_on():
    assert found(events(), "lead-hip-turns-in") == []
    assert found(events((BETWEEN_S, "limit", LEAD_HIP)), "lead-hip-turns-in") == [1]
    lower = (BETWEEN_S, "limit", {"key": "lead-hip-turns-in", "value": 5.0})
    assert found(events((SWINGS.ready_s, "limit", LEAD_HIP), lower), "lead-hip-turns-in") == [0]


@pytest.mark.parametrize(
    ("args", "says"),
    [
        ({"key": "lead-hip-turns-in", "value": 500.0}, "out of range"),
        ({"key": "lead-hip", "value": 5.0}, "no rule is called"),
        ({"key": "live.target", "value": 5.0}, "target"),
        ({"key": "lead-hip-turns-in", "value": None}, "limit"),
        ({}, "limit"),
    ],
)
def test_a_wrong_limit_changes_nothing_and_is_told(args, says):
    out = events((SWINGS.ready_s, "limit", LEAD_HIP), (BETWEEN_S, "limit", args))
    assert found(out, "lead-hip-turns-in") == [0, 1]
    assert any(says in one for one in notices(out))


def test_a_players_own_limits_come_with_the_session():
    begin, *rest = packets()
    own = {**begin.args, "limits": "format = 1\n[limits]\nlead-hip-turns-in = 25.0\nturns-in-the-hips = 0.1"}
    out = list(run([Command(0, "begin", own), *rest]))
    assert found(out, "lead-hip-turns-in") == [0, 1]
    assert found(out, "turns-in-the-hips") == []
    with pytest.raises(BadToml, match="limits of the player"):
        Pipeline().feed(
            Command(0, "begin", {**begin.args, "limits": "format = 1\n[limits]\nlead-hip-turns-in = 999.0"})
        )


def test_a_limit_survives_the_next_block_and_is_told_with_its_origin():
    strict = (SWINGS.ready_s, "limit", {"key": "turns-in-the-hips", "value": 0.9})
    changes = [(SWINGS.ready_s, "limit", {"key": "turns-in-the-hips", "value": 0.1})]
    out = events(*changes, (SWINGS.ready_s, "block", block("full-swings")))
    assert found(events(strict, (SWINGS.ready_s, "block", block("full-swings"))), "turns-in-the-hips") == [0, 1]
    assert found(out, "turns-in-the-hips") == []
    (told,) = [one for one in out if isinstance(one, LimitChanged)]
    assert (told.key, told.value, told.usual, told.whose) == ("turns-in-the-hips", 0.1, 0.3, "today")


def test_the_players_own_limits_are_told_with_their_origin():
    begin, *_ = packets()
    own = {**begin.args, "limits": "format = 1\n[limits]\nlead-hip-turns-in = 5.0"}
    told = [one for one in Pipeline().feed(Command(0, "begin", own)) if isinstance(one, LimitChanged)]
    assert [(one.key, one.value, one.usual, one.whose) for one in told] == [("lead-hip-turns-in", 5.0, 35.0, "player")]


def block(drill: str | None = None, **args) -> dict:
    more = {} if drill is None else {"rule_set": resources.text("drills", drill)}
    return {"name": "one", "role": "drill", "mode": "concurrent", **more, **args}


def test_a_block_brings_its_drill_and_its_way_of_telling():
    asked = (SWINGS.ready_s, "block", block("full-swings", mode="after-rep"))
    out = events(asked, (SWINGS.ready_s + 0.1, "limit", {"key": "turns-in-the-hips", "value": 0.5}))
    (begun,) = [one for one in out if isinstance(one, BlockBegun)]
    assert (begun.role, begun.drill, begun.mode) == (Role.DRILL, "full-swings", Mode.AFTER_REP)
    assert [one.kind for one in out if isinstance(one, Rep)] == ["full-swings"] * 2
    assert [one.sound for one in out if isinstance(one, Cue) and one.rep is not None] == ["stalled"] * 2
    assert found(out, "turns-in-the-hips") == [0, 1]
    told = [one.rule for one in events(asked) if isinstance(one, Unjudged)]
    assert told == ["turns-in-the-hips"] * 2, "this drill does not ask for the lead hip"


def test_a_block_that_cannot_be_read_changes_nothing_and_is_told():
    out = events((BETWEEN_S, "block", block(mode="loud")), (BETWEEN_S, "block", {"name": "x"}))
    assert len(notices(out)) == 2
    assert [one.kind for one in out if isinstance(one, Rep)] == ["swing"] * 2


def test_pain_stops_everything_until_the_next_block():
    out = events((BETWEEN_S, "pain", {}))
    assert [one.index for one in out if isinstance(one, Rep)] == [0]
    assert any("Stop at once" in one for one in notices(out))
    assert not [one for one in out if isinstance(one, StateChanged) and one.t_s > BETWEEN_S]
    again = events((BETWEEN_S, "pain", {}), (BETWEEN_S + 0.5, "block", block()))
    assert [one.index for one in again if isinstance(one, Rep)] == [0, 1]


def test_a_self_estimate_is_kept():
    out = events((BETWEEN_S, "estimate", {"rep": 0, "answer": "good"}))
    assert [one for one in out if isinstance(one, SelfEstimate)] == [SelfEstimate(pytest.approx(BETWEEN_S), 0, "good")]


HIP_TURNS = make_practice_script([HipTurnMotion("lead", 30.0), HipTurnMotion("lead", -30.0)], seed=2)


@cache
def hip_turn_packets() -> tuple[Item, ...]:
    return tuple(items(HIP_TURNS, WORN))


def test_reps_of_a_hip_turn_drill_are_numbered_on():
    stream = with_commands((HIP_TURNS.ready_s, "block", block("hip-turn-lead", mode="none")), of=hip_turn_packets)
    out = list(run(stream))
    reps = [one for one in out if isinstance(one, Rep)]
    assert [(one.index, one.kind) for one in reps] == [(0, "hip-turn-lead in"), (1, "hip-turn-lead out")]
    for rep in reps:
        assert rep.features["standing_hip_range_deg"] == pytest.approx(30, abs=1)
    assert [one for one in out if isinstance(one, Finding)] == []


def test_the_steps_of_a_drill_are_told_recorded_and_chosen():
    """As the block begins, after each rep of it, and by the coach; nothing of it in a test block."""
    drill = block("hip-turn-lead", mode="none")
    stream = with_commands((HIP_TURNS.ready_s, "block", drill), of=hip_turn_packets)
    told = [one for one in run(stream) if isinstance(one, StepTold)]
    assert [(one.number, one.good, one.rep) for one in told] == [(0, 0, None), (0, 1, 0), (0, 1, 1)]
    assert told[-1].why == "This step turns inward only."
    chosen = ((HIP_TURNS.ready_s, "block", drill), (HIP_TURNS.ready_s + 1, "step", {"number": 1}))
    told = [one for one in run(with_commands(*chosen, of=hip_turn_packets)) if isinstance(one, StepTold)]
    assert [(one.number, one.good, one.rep) for one in told] == [(0, 0, None), (1, 0, None), (1, 0, 0), (1, 1, 1)]
    untold = with_commands((HIP_TURNS.ready_s, "block", {**drill, "role": "test"}), of=hip_turn_packets)
    assert not [one for one in run(untold) if isinstance(one, StepTold)]


def test_a_state_in_the_middle_of_a_drill_goes_on_with_its_steps():
    stream = with_commands((HIP_TURNS.ready_s, "block", block("hip-turn-lead", mode="none")), of=hip_turn_packets)
    whole = list(run(stream, 1))
    rep = next(one for one in whole if isinstance(one, Rep))
    at = next(k for k, one in enumerate(stream) if one.host_ns > (rep.end_s + 0.5) * 1e9)
    first, second = Pipeline(), Pipeline()
    out = [event for one in stream[:at] for event in first.feed(one)]
    second.state = first.state
    out += [event for one in stream[at:] for event in second.feed(one)]
    out += second.finish()
    assert all(same(one, other) for one, other in zip(out, whole, strict=True))


def test_a_state_holds_all_that_a_coach_has_asked():
    """Half, restored state, other half: the same as the whole, with commands in the first half."""
    asked = (
        (SWINGS.ready_s, "block", block("full-swings", mode="faded", share=0.5)),
        (SWINGS.ready_s + 0.1, "limit", {"key": "turns-in-the-hips", "value": 0.1}),
        (BETWEEN_S, "limit", {"key": "turns-in-the-hips", "value": 0.6}),
    )
    stream = with_commands(*asked)
    whole = list(run(stream, 1))
    at = next(k for k, one in enumerate(stream) if one.host_ns > (BETWEEN_S + 1) * 1e9)
    first, second = Pipeline(), Pipeline()
    out = [event for one in stream[:at] for event in first.feed(one)]
    second.state = first.state
    out += [event for one in stream[at:] for event in second.feed(one)]
    out += second.finish()
    assert len(out) == len(whole)
    assert all(same(one, other) for one, other in zip(out, whole, strict=True))
    assert found(whole, "turns-in-the-hips") == [1]


def test_a_forearm_sensor_changes_nothing_but_impact():
    script = make_script(pace=Pace.FULL, reps=1, seed=3)
    without = [one for one in run(items(script, WORN)) if isinstance(one, Rep)]
    felt = [one for one in run(items(script, (*WORN, Segment.LEAD_FOREARM))) if isinstance(one, Rep)]
    assert without[0].estimated == ("impact_s",)
    assert felt[0].estimated == ()
    assert abs(felt[0].positions["impact_s"] - script.truth.reps[0].impact_s) < 0.008
    for mark in ("address_s", "top_s", "level_s", "finish_s"):
        assert felt[0].positions[mark] == pytest.approx(without[0].positions[mark], abs=1e-9)
    assert any(isinstance(one, Angles) for one in run(items(script, (*WORN, Segment.LEAD_FOREARM))))
