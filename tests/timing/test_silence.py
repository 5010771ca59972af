"""A computer that slept or stood still is told of, once; sensors that are merely silent are not taken for it."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.measure import clocks
from imufeedback.timing import SilenceWatch, WakeSign


def told(signs: list[WakeSign]) -> list[str]:
    stage = SilenceWatch()
    return [notice.text for one in signs for notice in stage.feed(one)]


def talk(begin_s: float, end_s: float, *sensors: str) -> list[WakeSign]:
    """Packets, and time that passes."""
    return [WakeSign(t_s, name) for t_s in np.arange(begin_s, end_s, 0.02).tolist() for name in ("", *sensors)]


def test_sensors_that_talk_say_nothing_about_it() -> None:
    assert told(talk(0, 10, "a", "b")) == []


def test_one_sensor_that_is_silent_is_no_matter_of_the_computer() -> None:
    assert told([*talk(0, 5, "a", "b"), *talk(5, 20, "b"), *talk(20, 25, "a", "b")]) == []


def test_all_silent_and_nothing_else_heard_either() -> None:
    (text,) = told([*talk(0, 5, "a", "b"), *talk(45, 50, "a", "b")])
    assert text.startswith("no sensor was heard for 40 s – the computer slept or was busy")


def test_all_silent_while_the_computer_was_awake() -> None:
    (text,) = told([*talk(0, 5, "a", "b"), *talk(5, 45), *talk(45, 50, "a", "b")])
    assert text.startswith("no sensor was heard for 40 s – out of reach")
    assert "computer" not in text


def test_one_sensor_alone_is_named() -> None:
    (text,) = told([*talk(0, 5, "a"), *talk(45, 50, "a")])
    assert text.startswith("sensor a was not heard for 40 s")


@pytest.mark.parametrize(
    ("ahead_s", "times"),
    [((38.0, 38.2, 37.9), 1), ((38.0, 12.0, 500.0), 0), ((-3.0, -3.1, -3.0), 0), ((0.6, 0.7, 0.6), 0), ((38.0,), 0)],
    ids=["slept", "all switched off and on", "behind", "jitter", "one alone"],
)
def test_clocks_that_are_ahead_alike_tell_of_a_sleep(ahead_s: tuple[float, ...], times: int) -> None:
    signs = [WakeSign(10.0 + k, name, one) for k, (name, one) in enumerate(zip("abc", ahead_s, strict=False))]
    texts = told([*talk(0, 10, "a", "b", "c"), *signs])
    assert len(texts) == times
    assert all("the computer slept for about 38 s" in one for one in texts)


def test_a_second_sleep_is_told_again() -> None:
    signs = [WakeSign(t_s, name, ahead_s) for t_s, ahead_s in ((10.0, 38.0), (300.0, 20.0)) for name in "ab"]
    assert len(told(signs)) == 2


@pytest.mark.parametrize(("seconds", "counted_s"), [(40.0, 2.0), (40.0, 40.0)])
def test_a_session_tells_of_it_whatever_the_computers_clock_counted(seconds: float, counted_s: float) -> None:
    assert clocks.told_of_sleep(np.random.default_rng(3), seconds, counted_s)
