"""What the player hears of the events."""

from __future__ import annotations

import math
from typing import NamedTuple

from imufeedback.cues.answers import Answers
from imufeedback.cues.schedule import Cueing, TimedEvent
from imufeedback.cues.tone import LosingTone
from imufeedback.records import Angles, Event, Hand
from imufeedback.rules import RuleSet
from imufeedback.stage import Memory


class _State(NamedTuple):
    cueing: Memory
    tone: Memory
    answers: Memory


class Hearing:
    """Cues and the held tone."""

    def __init__(self, hand: Hand, rule_set: RuleSet) -> None:
        self.cueing = Cueing()
        self.tone = LosingTone(hand=hand)
        self.answers = Answers(hand)
        self.use(rule_set)

    @property
    def follows(self) -> bool:
        """Whether the end of each block of angles is listened to."""
        return self.tone.follows

    def use(self, rule_set: RuleSet) -> None:
        """From now on the held tone rises towards this rule set's target."""
        self.tone.use(math.radians(rule_set.live.target_deg))

    def hear(self, now_s: float, event: Event) -> list[Event]:
        """An event, followed by the cues and the answer that it gives at this time of the session."""
        out = [event]
        measured = isinstance(event, Angles)
        if measured and not self.tone.follows:
            return out
        heard = TimedEvent(now_s, event)
        if not measured:
            out += self.cueing.feed(heard)
            out += [one for answer in self.answers.feed(event) for one in self.hear(now_s, answer)]
        for tone in self.tone.feed(heard):
            if self.cueing.guides():
                out += [tone, *self.cueing.feed(TimedEvent(now_s, tone))]
        return out

    @property
    def state(self) -> _State:
        return _State(self.cueing.state, self.tone.state, self.answers.state)

    @state.setter
    def state(self, value: _State) -> None:
        self.cueing.state, self.tone.state, self.answers.state = value
