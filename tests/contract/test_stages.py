"""First half + restored state + second half = whole, for every stage and for the pipeline, on a real synthetic session.

The state goes through pickle into a new object, so nothing of a stage may live outside its state.
"""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator
from functools import cache
from typing import Any

import numpy as np
import pytest
from sessions import house_session, lossless_session

from imufeedback.fusion import available
from imufeedback.pipeline import Pipeline, Rooms
from imufeedback.records import AlignedBlock, Angles, Flag, Gap, Item, PacketRejected, Rep, same
from imufeedback.stage import Stage
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.timing import Instants, Merger
from imufeedback.timing.merge import Arrived, Released

SENSOR = "SYN-0001"
OF_THE_RADIO = ("lateness",)
"""Hear of packets that come by radio only."""
QUIET = ("tone", "silence", *OF_THE_RADIO)
"""Say something only in sessions unlike these (the tone is asked for, the data come late); halves of such sessions are
tested with the stages themselves."""
VOID = {("rules", "house")}
"""The only rep of this session lacks samples, so the rules say nothing about it."""


def rooms(pipeline: Pipeline) -> Rooms:
    assert pipeline._rooms is not None, "it has not begun"
    return pipeline._rooms


# where each stage sits in a pipeline that has begun
STAGES: dict[str, Callable[[Pipeline], Stage[Any, Any]]] = {
    "decoder": lambda pipeline: rooms(pipeline).sensors.chains[SENSOR].decoder,
    "clock": lambda pipeline: rooms(pipeline).sensors.chains[SENSOR].clock,
    "plausible": lambda pipeline: rooms(pipeline).sensors.chains[SENSOR].plausible,
    "fusion": lambda pipeline: rooms(pipeline).sensors.chains[SENSOR].fusion,
    "merger": lambda pipeline: rooms(pipeline).worn.merger,
    "body": lambda pipeline: rooms(pipeline).worn.body,
    "motion": lambda pipeline: rooms(pipeline).reps.motion,
    "rules": lambda pipeline: rooms(pipeline).reps.rules,
    "cueing": lambda pipeline: rooms(pipeline).hearing.cueing,
    "tone": lambda pipeline: rooms(pipeline).hearing.tone,
    "lateness": lambda pipeline: rooms(pipeline).sensors.lateness,
    "silence": lambda pipeline: rooms(pipeline).sensors.silence,
    "instants": lambda pipeline: rooms(pipeline).instants,
}


@cache
def session(kind: str, filter_name: str = "vqf") -> tuple[Item, ...]:
    """A rep at full pace with a flaw, so that every stage has something to say."""
    script = make_script(pace=Pace.FULL, flaw=Flaw.PUSH_BACK, reps=1, seed=5)
    make = house_session if kind == "house" else lossless_session
    return tuple(make(script, filter_name=filter_name))


def begun(items: tuple[Item, ...]) -> Pipeline:
    pipeline = Pipeline()
    pipeline.feed(items[0])
    return pipeline


@cache
def inputs(kind: str) -> dict[str, list[Any]]:
    """What every stage is fed during a session."""
    items = session(kind)
    pipeline = begun(items)
    fed: dict[str, list[Any]] = {}
    for name, find in STAGES.items():
        _listen(find(pipeline), fed.setdefault(name, []))
    for item in items[1:]:
        pipeline.feed(item)
    pipeline.finish()
    return fed


def _listen(stage: Stage[Any, Any], heard: list[Any]) -> None:
    feed = stage.feed

    def listening(item: Any) -> list[Any]:
        heard.append(item)
        return feed(item)

    stage.feed = listening  # type: ignore[method-assign]
    if isinstance(stage, Instants):  # of which many pass at once
        stage.feed_many = lambda items: [one for item in items for one in listening(item)]  # type: ignore[method-assign]
    if isinstance(stage, Merger):  # whose one way is that of many
        feed_many = stage.feed_many

        def listening_to_many(arrived: Arrived) -> Iterator[tuple[AlignedBlock, Released]]:
            heard.extend(arrived.blocks)
            return feed_many(arrived)

        stage.feed_many = listening_to_many  # type: ignore[method-assign]


def check_halves(make: Callable[[], Any], items: list[Any], cuts: list[int]) -> list[Any]:
    """Feeds the whole once, and from every cut on again into a new object; returns the whole's output."""
    whole = make()
    outputs: list[list[Any]] = []
    states: dict[int, bytes] = {}
    for k, item in enumerate(items):
        if k in cuts:
            states[k] = pickle.dumps(whole.state)
        outputs.append(whole.feed(item))
    outputs.append(whole.finish())
    assert states.keys() == set(cuts)
    for cut, state in states.items():
        second = make()
        second.state = pickle.loads(state)
        for k, item in enumerate(items[cut:], start=cut):
            assert same(second.feed(item), outputs[k]), f"cut {cut}: item {k} comes out otherwise"
        assert same(second.finish(), outputs[-1]), f"cut {cut}: the end comes out otherwise"
    return [record for output in outputs for record in output]


def cuts_of(items: list[Any]) -> list[int]:
    """The middle, and uneven places around it."""
    n = len(items)
    return sorted({n // 7, n // 2, n - 1 - n // 5})


@pytest.mark.parametrize("kind", ["house", "lossless"])
@pytest.mark.parametrize("name", STAGES)
def test_halves_of_a_stage_make_the_whole(name: str, kind: str) -> None:
    items = inputs(kind)[name]
    if name in OF_THE_RADIO and kind == "lossless":
        assert not items, "an import has no arrivals"
        return
    out = check_halves(lambda: STAGES[name](begun(session(kind))), items, cuts_of(items))
    assert out or name in QUIET or (name, kind) in VOID, "a stage that says nothing proves nothing"


@pytest.mark.parametrize("filter_name", available())
def test_halves_of_the_fusion_with_every_filter(filter_name: str) -> None:
    items = inputs("house")["fusion"][:900]
    out = check_halves(lambda: STAGES["fusion"](begun(session("house", filter_name))), items, cuts_of(items))
    assert sum(len(block.t_s) for block in out) > 3000


@pytest.mark.parametrize("kind", ["house", "lossless"])
def test_halves_of_the_pipeline_make_the_whole(kind: str) -> None:
    items = list(session(kind))
    n = len(items)  # the first two: before the session has begun, and just after
    events = check_halves(Pipeline, items, [0, 1, n // 2, n - n // 10])
    assert sum(isinstance(one, Rep) for one in events) == 1
    assert any(isinstance(one, Angles) for one in events)


@pytest.mark.parametrize("name", STAGES)
def test_a_state_that_was_read_is_not_changed_by_what_comes_after(name: str) -> None:
    items = inputs("house")[name]
    stage = STAGES[name](begun(session("house")))
    for item in items[: len(items) // 2]:
        stage.feed(item)
    state = stage.state
    before = pickle.dumps(state)
    for item in items[len(items) // 2 :]:
        stage.feed(item)
    assert pickle.dumps(state) == before


def test_the_sessions_are_as_bad_as_they_claim() -> None:
    """What the two sessions are disturbed with is really in them."""
    pipeline = Pipeline()
    events = [event for item in session("house") for event in pipeline.feed(item)]
    assert any(isinstance(one, Gap) for one in events)
    assert not any(isinstance(one, PacketRejected) for one in events)
    counts = STAGES["decoder"](pipeline).counts
    assert counts.lost > 0
    assert counts.duplicates > 0
    assert counts.reordered > 0
    assert sum(int(np.count_nonzero(block.flags & Flag.INVALID)) for block in inputs("lossless")["fusion"]) == 1
