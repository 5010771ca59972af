"""Data that come late are told of, once."""

from __future__ import annotations

from imufeedback.cues.lateness import Arrival, Lateness


def told(stage: Lateness, *ages_s: float, sensor: str = "a") -> list[int]:
    """Numbers of the packets at which something was said."""
    return [k for k, age_s in enumerate(ages_s) if stage.feed(Arrival(sensor, k + age_s, float(k)))]


def test_fresh_data_and_one_slow_packet_are_not_told_of() -> None:
    assert told(Lateness(), 0.03, 0.2, 0.03) == []


def test_each_time_they_fall_behind_is_told_of_once() -> None:
    assert told(Lateness(), 0.03, 2.0, 1.5, 0.5, 0.2, 0.03, 0.4) == [1, 6]


def test_several_sensors_that_fall_behind_together_are_one_notice() -> None:
    stage = Lateness()
    assert told(stage, 0.03, 2.0) == [1]
    assert told(stage, 0.03, 2.0, 1.0, sensor="b") == []
    assert told(stage, 0.03, sensor="a") == []  # the other one is still late
    assert told(stage, 0.4, sensor="a") == []
    assert told(stage, 0.03, sensor="b") == []
    assert told(stage, 0.03, 0.4, sensor="a") == [1]


def test_one_that_was_late_and_is_dead_does_not_keep_the_others_from_being_told_of() -> None:
    stage = Lateness()
    assert told(stage, 0.03, 2.0, sensor="dead") == [1]
    assert told(stage, *[0.03] * 5, 2.0, sensor="b") == []  # it may come back
    assert told(stage, *[0.03] * 20, 2.0, sensor="b") == [20]


def test_the_notice_says_how_late_and_what_to_try() -> None:
    (notice,) = Lateness().feed(Arrival("a", 5.0, 3.0))
    assert notice.t_s == 5.0
    assert "2.0 s late" in notice.text
    assert "close other programs" in notice.text
