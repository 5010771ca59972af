"""What a player thinks of a rep, said by tapping a thigh: the trail one for a good rep, the lead one for a fault."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.records import BlockBegun, Event, Hand, Rep, SelfEstimate, Tapped
from imufeedback.stage import Stage

GOOD, FAULT = "good", "fault"


@dataclass
class _Memory:
    asks: bool = False
    """In this block."""
    rep: int | None = None
    """Whose answer is waited for."""


class Answers(Stage[Event, SelfEstimate]):
    """Turns a tap into the answer that is waited for; at other times it says nothing."""

    def __init__(self, hand: Hand) -> None:
        self._good = f"{hand.trail}_thigh"
        self._state = _Memory()

    def feed(self, item: Event) -> list[SelfEstimate]:
        s = self._state
        match item:
            case BlockBegun(estimate=asks):
                s.asks, s.rep = asks, None
            case Rep(void="", index=index) if s.asks:
                s.rep = index
            case SelfEstimate(rep=rep) if rep == s.rep:
                s.rep = None
            case Tapped(t_s=t_s, segment=segment) if s.rep is not None:
                return [SelfEstimate(t_s, s.rep, GOOD if str(segment) == self._good else FAULT)]
        return []
