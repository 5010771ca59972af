"""Taps of the thighs answer for a rep in a whole session, one packet at a time and a stretch at a time."""

from __future__ import annotations

from functools import cache

from imufeedback.commands import BeginBlock, recorded
from imufeedback.measure.golfer import items
from imufeedback.measure.guided import TYPICAL
from imufeedback.measure.tapping import taps_after_reps
from imufeedback.pipeline import Pipeline
from imufeedback.records import Cue, Event, Hand, Item, Mode, Rep, Role, SelfEstimate, Tapped
from imufeedback.synth.sensors import WORN

HAND, SEED, REPS = Hand.LEFT, 2, 2


@cache
def session() -> tuple[list[Item], dict[int, str]]:
    script, meant = taps_after_reps(SEED, HAND, REPS)
    all_items = list(items(script, WORN, model=TYPICAL))
    begin = BeginBlock("own call first", Role.SWINGS, Mode.AFTER_REP, estimate=True)
    place = next(k for k, one in enumerate(all_items) if one.host_ns > (script.ready_s + 0.5) * 1e9)
    all_items.insert(place, recorded(all_items[place].host_ns, begin))
    return all_items, meant


def told(events: list[Event]) -> list[Event]:
    return [one for one in events if isinstance(one, Rep | Cue | SelfEstimate | Tapped)]


def test_the_result_comes_with_the_tap() -> None:
    all_items, meant = session()
    pipeline = Pipeline()
    events = told([one for item in all_items for one in pipeline.feed(item)])
    answers = {one.rep: one.answer for one in events if isinstance(one, SelfEstimate)}
    assert answers == meant
    for k, one in enumerate(events):
        if isinstance(one, Tapped):
            assert isinstance(events[k + 1], SelfEstimate)
            assert isinstance(events[k + 2], Cue), "the result's sound"


def test_a_recording_tells_the_same() -> None:
    all_items, _ = session()
    live, replayed = Pipeline(), Pipeline()
    one_by_one = told([one for item in all_items for one in live.feed(item)])
    stretches = [one for k in range(0, len(all_items), 4000) for one in replayed.feed_many(all_items[k : k + 4000])]
    assert [type(one) for one in told(stretches)] == [type(one) for one in one_by_one]
    kept = (Cue, SelfEstimate, Tapped)
    assert [one for one in told(stretches) if isinstance(one, kept)] == [
        one for one in one_by_one if isinstance(one, kept)
    ]
