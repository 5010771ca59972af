"""The steps of a drill: what counts, what does not and why, and when it goes on, back or stops."""

from __future__ import annotations

import pickle
from dataclasses import replace

import pytest

from imufeedback import resources
from imufeedback.records import Finding, Rep, StepTold, Verdict
from imufeedback.rules import RuleSet, parse_rule_set
from imufeedback.rules.steps import StepRep, Steps

THIGH, RANGE = "standing-thigh-still", "hip-rotation-reaches"


def drill(name: str = "hip-turn-trail") -> RuleSet:
    return parse_rule_set(resources.text("drills", name), name)


def rep(direction: str = "in", lasts_s: float = 4.0, void: str = "") -> Rep:
    return Rep(0, f"hip-turn-trail {direction}", 10.0, 10.0 + lasts_s, {}, (), {}, void)


def found(rule: str, verdict: Verdict = Verdict.FAULT) -> Finding:
    return Finding(rule, 0, 0.0, 20.0, 12.0, "deg", verdict, f"{rule} is wrong.")


def told(steps: Steps, one: Rep, *findings: Finding) -> StepTold:
    (only,) = steps.feed(StepRep(one, findings))
    return only


def test_good_reps_go_up_step_by_step_to_the_end() -> None:
    steps = Steps(drill())
    assert steps.begun(1.0).text.startswith("Turn the pelvis towards the trail leg")
    seen = [told(steps, rep("in")) for _ in range(3)] + [told(steps, rep("out")) for _ in range(3)]
    assert [(one.number, one.good) for one in seen] == [(0, 1), (0, 2), (1, 0), (1, 1), (1, 2), (2, 0)]
    for _ in range(6):
        last = told(steps, rep("in" if steps.begun(0.0).number == 2 else "out"))
    assert (last.over, last.number, last.of) == ("done", 4, 4)
    assert steps.feed(StepRep(rep(), [])) == [], "it is over"


@pytest.mark.parametrize(
    ("one", "findings", "why"),
    [
        (rep(lasts_s=2.9), [], "Slower: take at least 3 s."),
        (rep(lasts_s=12.1), [], "Quicker: take 12 s at most."),
        (rep(), [found(THIGH)], f"{THIGH} is wrong."),
        (rep(), [found(THIGH, Verdict.UNSURE)], f"Not sure enough to count. {THIGH} is wrong."),
        (rep("out"), [], "This step turns inward only."),
    ],
)
def test_what_does_not_count_says_why(one: Rep, findings: list[Finding], why: str) -> None:
    answer = told(Steps(drill()), one, *findings)
    assert (answer.good, answer.why) == (0, why)


def test_a_small_range_is_no_fault_of_a_step_whose_form_is_good() -> None:
    assert told(Steps(drill()), rep(), found(RANGE)).good == 1


def test_a_drill_without_checks_of_form_counts_by_all_its_rules() -> None:
    steps = Steps(drill("rehearsal-from-the-top"))
    assert told(steps, rep(lasts_s=6.0), found("trail-thigh-keeps-falling")).why
    assert told(steps, rep(lasts_s=6.0), found("trail-thigh-keeps-falling", Verdict.UNSURE)).good == 1


def test_a_void_rep_says_nothing_about_a_step() -> None:
    assert Steps(drill()).feed(StepRep(rep(void="a gap"), [])) == []


def test_three_misses_in_a_row_go_back_a_step_and_six_stop_the_drill() -> None:
    steps = Steps(drill())
    for _ in range(3):
        told(steps, rep("in"))
    seen = [told(steps, rep("out", lasts_s=1.0)) for _ in range(3)]
    assert [one.number for one in seen] == [1, 1, 0]
    seen = [told(steps, rep("in", lasts_s=1.0)) for _ in range(3)]
    assert [one.over for one in seen] == ["", "", "stopped"]
    assert "Stop this drill for today" in seen[-1].text


def test_a_good_rep_between_ends_the_row_of_misses() -> None:
    steps = Steps(drill())
    for lasts_s in (1.0,) * 5 + (4.0,) + (1.0,) * 5:
        assert not told(steps, rep("in", lasts_s=lasts_s)).over
    assert told(steps, rep("in", lasts_s=1.0)).over == "stopped"


def test_the_coach_chooses_a_step() -> None:
    steps = Steps(drill())
    assert steps.go(1.0, 2).number == 2
    assert told(steps, rep("in")).good == 1
    assert steps.go(1.0, 0).good == 0
    assert steps.go(1.0, 99).over == "done"


def test_half_and_restored_state_and_half_are_the_whole() -> None:
    reps = [rep("in"), rep("in"), rep("in", 1.0), rep("in"), rep("out"), rep("out", 1.0), rep("out")]
    whole = Steps(drill())
    expected = [one for each in reps for one in whole.feed(StepRep(each, []))]
    for at in range(len(reps)):
        first, second = Steps(drill()), Steps(drill())
        seen = [one for each in reps[:at] for one in first.feed(StepRep(each, []))]
        second.state = pickle.loads(pickle.dumps(first.state))
        assert seen + [one for each in reps[at:] for one in second.feed(StepRep(each, []))] == expected


def test_a_rep_that_is_taken_out_leaves_the_count_of_its_step() -> None:
    steps = Steps(drill())
    for k in range(3):
        told(steps, replace(rep(), index=k))
    assert steps.begun(0.0).number == 1, "three good ones: the next step"
    (back,) = steps.discard(30.0, 1, on=True)
    assert (back.number, back.good, back.rep) == (0, 2, None)
    assert pickle.loads(pickle.dumps(steps.state)).discarded == {1}
    (again,) = steps.discard(31.0, 1, on=False)
    assert (again.number, again.good) == (1, 0)
    assert steps.discard(32.0, 77, on=True) == [], "of another block"


def test_a_bad_rep_that_is_taken_out_no_longer_stops_the_drill() -> None:
    steps = Steps(drill())
    for k in range(6):
        last = told(steps, replace(rep(), index=k), found(THIGH))
    assert last.over == "stopped"
    (back,) = steps.discard(30.0, 5, on=True)
    assert back.over == ""
    assert told(steps, replace(rep(), index=6)).good == 1


def test_after_a_choice_of_the_coach_earlier_reps_change_nothing() -> None:
    steps = Steps(drill())
    told(steps, replace(rep(), index=0))
    steps.go(5.0, 2)
    assert steps.discard(6.0, 0, on=True) == []
    assert steps.begun(7.0).number == 2
