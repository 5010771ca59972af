from __future__ import annotations

import threading

import pytest
from bay_events import HandClock

from imufeedback.app.stopping import OrderedStop


def test_runs_once_and_is_over_when_done() -> None:
    calls: list[int] = []
    stop = OrderedStop(lambda: calls.append(1))
    assert not stop.begun
    assert not stop.over()
    stop.finish()
    stop.begin()
    stop.finish()
    assert stop.over()
    assert (calls, stop.failure) == ([1], None)


def test_gives_up_when_the_time_is_up(clock: HandClock) -> None:
    gate = threading.Event()
    stop = OrderedStop(lambda: bool(gate.wait(5.0)), limit_s=2.0, clock=clock)
    stop.begin()
    assert not stop.over()
    clock.now_s += 2.1
    assert stop.over()
    assert stop.failure == "the session did not stop within 2 s"
    gate.set()


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_an_error_in_the_stop_is_kept_and_not_swallowed() -> None:
    def fail() -> None:
        raise OSError("disk full")

    stop = OrderedStop(fail)
    stop.finish()
    assert stop.over()
    assert stop.failure == "OSError: disk full"
