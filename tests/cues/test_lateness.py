"""Data that come late are told of, once."""

from __future__ import annotations

import numpy as np

from imufeedback.cues.lateness import Lateness
from imufeedback.cues.schedule import Heard
from imufeedback.records import Angles, PelvisAngles, Phase, PhaseChanged, frozen


def angles(t_s: float) -> Angles:
    time, nothing = frozen([t_s]), frozen(np.zeros((1, 3)))
    return Angles(time, PelvisAngles(time, nothing, nothing, nothing, frozen([[True] * 3], np.bool_)), ())


def told(stage: Lateness, *ages_s: float) -> list[int]:
    """Numbers of the steps at which something was said."""
    return [k for k, age_s in enumerate(ages_s) if stage.feed(Heard(k + age_s, angles(float(k))))]


def test_fresh_data_and_one_slow_packet_are_not_told_of():
    assert told(Lateness(), 0.03, 0.2, 0.03) == []


def test_each_time_they_fall_behind_is_told_of_once():
    assert told(Lateness(), 0.03, 2.0, 1.5, 0.5, 0.2, 0.03, 0.4) == [1, 6]


def test_the_notice_says_how_late_and_what_to_try():
    (notice,) = Lateness().feed(Heard(5.0, angles(3.0)))
    assert notice.t_s == 5.0
    assert "2.0 s late" in notice.text
    assert "close other programs" in notice.text


def test_other_events_say_nothing_about_it():
    assert Lateness().feed(Heard(9.0, PhaseChanged(1.0, Phase.ADDRESS))) == []
