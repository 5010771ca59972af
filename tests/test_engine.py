"""The engine's thread: what it works off together, and what it does not let wait."""

from __future__ import annotations

import time
from collections.abc import Sequence

import pytest

from imufeedback.begin import session_settings
from imufeedback.live.session import AT_ONCE_NS, Engine, Session
from imufeedback.records import Item, Segment, Tick

STEP_S = 0.005


class Noting(Session):
    """Only notes what it is given."""

    def __init__(self, wait_s: float) -> None:
        self.wait_s, self.calls = wait_s, list[Sequence[Item]]()
        super().__init__(session_settings([("SYN-1", Segment.PELVIS)], "house"), begin_ns=0)

    @property
    def may_wait_s(self) -> float:
        return self.wait_s

    def feed_many(self, items: Sequence[Item]) -> None:
        self.calls.append(items)


def given(wait_s: float, times_s: Sequence[float], *, pace: bool) -> list[Sequence[Item]]:
    """The calls that so many ticks make, at the pace of life or all at once."""
    session = Noting(wait_s)
    engine = Engine(lambda: session)
    for t_s in times_s:
        engine.put(Tick(round(t_s * 1e9)))
        if pace:
            time.sleep(STEP_S)
    assert engine.stop()
    assert engine.error is None
    assert [item.host_ns for call in session.calls for item in call] == [round(t_s * 1e9) for t_s in times_s]
    return session.calls


TIMES_S = [STEP_S * k for k in range(60)]


def test_nothing_waits_where_it_must_not() -> None:
    calls = given(0.0, TIMES_S, pace=True)
    assert all(call[-1].host_ns - call[0].host_ns <= AT_ONCE_NS for call in calls)


def test_what_may_wait_is_worked_off_together() -> None:
    calls = given(0.1, TIMES_S, pace=True)
    assert len(calls) <= 6, "0.3 s and more, at most every 0.1 s, and the rest at the end"


@pytest.mark.parametrize("wait_s", [0.0, 0.1])
def test_what_is_behind_is_worked_off_without_a_pause(wait_s: float) -> None:
    times_s = [0.02 * k for k in range(3000)]
    begun = time.perf_counter()
    given(wait_s, times_s, pace=False)
    assert time.perf_counter() - begun < 5.0, "a minute's items; 600 pauses would be a minute"
