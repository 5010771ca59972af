"""A tap is the answer that is waited for, and nothing at other times."""

from __future__ import annotations

import pytest

from imufeedback.cues.answers import Answers
from imufeedback.records import BlockBegun, Event, Hand, Mode, Rep, Role, Segment, SelfEstimate, Tapped

ASKS = BlockBegun(1.0, "own call first", Role.SWINGS, "swing", Mode.AFTER_REP, 1.0, estimate=True)
TELLS = BlockBegun(1.0, "swings", Role.SWINGS, "swing", Mode.AFTER_REP, 1.0)
LEFT, RIGHT = Tapped(9.0, Segment.LEFT_THIGH), Tapped(9.0, Segment.RIGHT_THIGH)


def rep(index: int, void: str = "") -> Rep:
    return Rep(index, "swing", 2.0, 8.0, {}, (), {}, void)


def said(hand: Hand, *events: Event) -> list[SelfEstimate]:
    answers = Answers(hand)
    return [one for event in events for one in answers.feed(event)]


@pytest.mark.parametrize(
    ("hand", "tap", "answer"),
    [
        (Hand.RIGHT, RIGHT, "good"),
        (Hand.RIGHT, LEFT, "fault"),
        (Hand.LEFT, LEFT, "good"),
        (Hand.LEFT, RIGHT, "fault"),
    ],
)
def test_the_trail_thigh_says_good_and_the_lead_one_fault(hand: Hand, tap: Tapped, answer: str) -> None:
    assert said(hand, ASKS, rep(4), tap) == [SelfEstimate(9.0, 4, answer)]


@pytest.mark.parametrize(
    "events",
    [
        (ASKS, RIGHT),
        (ASKS, rep(1, void="a sensor was lost"), RIGHT),
        (ASKS, rep(1), SelfEstimate(8.5, 1, "no answer"), RIGHT),
        (TELLS, rep(1), RIGHT),
        (ASKS, rep(1), TELLS, RIGHT),
    ],
    ids=["no rep", "void", "answered", "not asked", "another block"],
)
def test_at_other_times_it_says_nothing(events: tuple[Event, ...]) -> None:
    assert said(Hand.RIGHT, *events) == []
