"""A rep that cannot be judged, through the whole pipeline: the same live, replayed, and a stretch at a time."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from sessions import steady_session

from imufeedback import resources
from imufeedback.commands import Begin, recorded
from imufeedback.live.golfer import DemoPlan, VirtualGolfer
from imufeedback.pipeline import Pipeline
from imufeedback.records import (
    Angles,
    ClockRestarted,
    Command,
    Cue,
    Event,
    Finding,
    Hand,
    Item,
    Mode,
    Motion,
    Phase,
    PhaseChanged,
    Rep,
    Role,
    Segment,
    Side,
    StateChanged,
)
from imufeedback.report.summary import Summary
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import Script, make_script

REPS = 3


@cache
def script() -> Script:
    """Three stalled swings at full pace."""
    return make_script(pace=Pace.FULL, flaw=Flaw.STALL, reps=REPS, seed=2)


@cache
def outage(segment: Segment) -> tuple[Item, ...]:
    """One sensor is silent for 0.1 s in the second downswing."""
    from_s = script().truth.reps[1].top_s + 0.1
    return tuple(steady_session(script(), silent=segment, from_s=from_s, to_s=from_s + 0.1))


@cache
def heard(segment: Segment) -> list[Event]:
    """What the outage of one sensor tells."""
    return singly(outage(segment))


def singly(items: tuple[Item, ...]) -> list[Event]:
    pipeline = Pipeline()
    return [event for item in items for event in pipeline.feed(item)] + pipeline.finish()


def together(items: tuple[Item, ...], stride: int) -> list[Event]:
    pipeline = Pipeline()
    out = [event for k in range(0, len(items), stride) for event in pipeline.feed_many(items[k : k + stride])]
    return out + pipeline.finish()


def rare(events: list[Event]) -> list[tuple[object, ...]]:
    """What a person sees or hears, times to a microsecond."""
    out: list[tuple[object, ...]] = []
    for one in events:
        match one:
            case Rep():
                out.append(
                    ("rep", one.index, one.void, round(one.start_s, 6), round(one.end_s, 6), sorted(one.positions))
                )
            case Finding():
                out.append(("finding", one.rule, one.rep, one.verdict))
            case Cue():
                out.append(("cue", one.sound, one.rep, round(one.t_s, 6)))
            case PhaseChanged():
                out.append(("phase", one.phase, round(one.t_s, 6)))
            case StateChanged():
                out.append(("state", one.state, round(one.t_s, 6)))
    return out


def reps(events: list[Event]) -> list[Rep]:
    return [one for one in events if isinstance(one, Rep)]


@pytest.mark.parametrize("segment", [Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH])
def test_a_sensor_that_is_silent_in_a_downswing(segment: Segment) -> None:
    events = heard(segment)
    good, void, other = reps(events)
    where = str(segment).replace("_", " ")
    assert void.void == f"{where}: samples of its sensor are missing – bring the sensors near"
    assert [one.index for one in (good, void, other)] == [0, 1, 2]
    assert {one.rep for one in events if isinstance(one, Finding)} == {0, 2}, "a void rep has no findings"
    assert [one.rep for one in events if isinstance(one, Cue) and one.sound == "rep-counted"] == [0, 2]


@pytest.mark.parametrize("segment", [Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH])
def test_a_stretch_at_a_time_tells_the_same(segment: Segment) -> None:
    expected = rare(heard(segment))
    for stride in (7, 500):
        assert rare(together(outage(segment), stride)) == expected


def test_nothing_is_told_live_from_the_gap_to_the_end_of_the_rep() -> None:
    events = heard(Segment.RIGHT_THIGH)
    gap_s = script().truth.reps[1].top_s + 0.1
    _, void, _ = reps(events)
    told = [one for one in events if isinstance(one, StateChanged) and gap_s <= one.t_s <= void.end_s]
    assert all(one.state is Motion.IDLE for one in told)
    assert not [one for one in events if isinstance(one, Cue) and gap_s <= one.t_s <= void.end_s]


def test_no_rep_that_counts_has_a_sample_of_a_needed_angle_that_was_not_known() -> None:
    """What the rules look at: flexion and rotation of both hips, and the pelvis."""
    for segment in (Segment.PELVIS, Segment.LEFT_THIGH):
        events = heard(segment)
        blocks = [one for one in events if isinstance(one, Angles)]
        t_s = np.concatenate([one.t_s for one in blocks])
        known = np.concatenate(
            [
                np.hstack([one.pelvis.ok, *(one.joint("hip", side).ok[:, [0, 2]] for side in Side)]).all(axis=1)
                for one in blocks
            ]
        )
        for rep in reps(events):
            inside = (t_s >= rep.start_s) & (t_s <= rep.end_s)
            assert known[inside].all() == (rep.void == "")


def test_a_void_rep_takes_no_turn_of_a_block() -> None:
    """Every second rep has a tone; the void one is not one of them, so the third gets what the second did not."""
    items = list(outage(Segment.PELVIS))
    args = {"name": "half", "role": str(Role.DRILL), "mode": str(Mode.AFTER_REP), "share": 0.5, "estimate": False}
    begin_ns = int(script().ready_s * 1e9)
    at = next(k for k, one in enumerate(items) if one.host_ns > begin_ns)
    items.insert(at, Command(begin_ns, "block", args))
    events = together(tuple(items), 500)
    results = [one.rep for one in events if isinstance(one, Cue) and one.rep is not None and one.sound != "rep-counted"]
    assert results == [0]
    summary = Summary(Hand.RIGHT)
    summary(events)
    document = summary.document()
    assert [one.tones for one in document.reps] == [True, False, False]
    (block,) = document.blocks or []
    assert (block.reps, block.clean) == (2, 0)


@cache
def restarted() -> tuple[Item, ...]:
    """A sensor's battery is loose for a moment in the second downswing."""
    rep = VirtualGolfer(DemoPlan(pace=Pace.FULL, reps=REPS, seed=4, realtime=False, sensors="ideal")).script.truth.reps[
        1
    ]
    text = f'seed = 1\n[[fault]]\nkind = "reboot"\nsensors = ["left_thigh"]\nat_s = {rep.top_s + 0.1}\naway_s = 0.05\n'
    return demo_items(
        DemoPlan(pace=Pace.FULL, reps=REPS, seed=4, realtime=False, sensors="ideal", radio=(text, "reboot"))
    )


def demo_items(plan: DemoPlan) -> tuple[Item, ...]:
    demo = VirtualGolfer(plan)
    items: list[Item] = [recorded(0, Begin.of(demo.settings))]
    demo.play(items.append)
    return tuple(items)


def test_a_sensor_that_restarts_in_a_downswing() -> None:
    events = singly(restarted())
    assert any(isinstance(one, ClockRestarted) for one in events)
    found = reps(events)
    assert found[1].void.startswith("left thigh: ")
    assert not found[0].void
    for stride in (7, 500):
        assert rare(together(restarted(), stride)) == rare(events)


def test_the_shipped_outage_spoils_the_reps_that_it_says() -> None:
    radio = (resources.text("radio", "outage"), "outage")
    for pace, flawed in ((Pace.FULL, [1]), (Pace.SLOW, [1, 3])):
        found = reps(
            together(demo_items(DemoPlan(pace=pace, reps=4, seed=1, realtime=False, sensors="ideal", radio=radio)), 500)
        )
        assert len(found) == 4
        assert [one.index for one in found if one.void] == flawed


def test_phases_come_back_after_a_void_rep() -> None:
    events = heard(Segment.PELVIS)
    last = [one.phase for one in events if isinstance(one, PhaseChanged)][-1]
    assert last is Phase.WAITING
