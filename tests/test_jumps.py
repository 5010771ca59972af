"""A long silence in a session: nothing is made of it, it is told once, and both sides of it are judged."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from imufeedback.measure.edges.commands import session
from imufeedback.measure.edges.times import BETWEEN_S, later
from imufeedback.pipeline import Pipeline
from imufeedback.records import Angles, Event, Finding, Item, Notice, Rep

S = 1_000_000_000


@cache
def clean() -> tuple[Item, ...]:
    """Two reps, and a fault in the first."""
    return tuple(session(1))


def with_silence(gap_s: float) -> list[Item]:
    items = clean()
    at = next(k for k, one in enumerate(items) if one.host_ns > BETWEEN_S * S)
    return [*items[:at], *(later(one, round(gap_s * S)) for one in items[at:])]


@cache
def together(gap_s: float) -> tuple[Event, ...]:
    begin, *items = with_silence(gap_s)
    pipeline = Pipeline()
    events = pipeline.feed(begin)
    for k in range(0, len(items), 500):
        events += pipeline.feed_many(items[k : k + 500])
    return (*events, *pipeline.finish())


@pytest.mark.parametrize("gap_s", [4.0, 3600.0, 86_400.0, 3.2e7, 1.7e9, 9.1e9])
def test_both_sides_of_a_silence_are_judged(gap_s: float) -> None:
    events = together(gap_s)
    reps = [one for one in events if isinstance(one, Rep)]
    assert [one.void for one in reps] == ["", ""]
    assert {one.rep for one in events if isinstance(one, Finding)} == {0}
    assert reps[1].start_s - reps[0].start_s == pytest.approx(gap_s + 13.2, abs=0.5)
    (told,) = [one.text for one in events if isinstance(one, Notice)]
    assert "nothing was recorded for" in told
    steps = np.concatenate([one.t_s for one in events if isinstance(one, Angles)])
    assert (np.diff(steps) > 0).all()
    assert len(steps) < 200 * 46
