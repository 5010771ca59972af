"""Each change of block, and of a drill's step, said aloud. Tells no result."""

from __future__ import annotations

from imufeedback.audio.speech import Voice
from imufeedback.cues.telling import UNTOLD
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Event, StepTold


class Spoken:
    """A sink that speaks."""

    def __init__(self, voice: Voice) -> None:
        self._voice = voice
        self._step: int | None = None

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            self.hear(event)

    def hear(self, event: Event) -> None:
        """Any event of the session."""
        match event:
            case BlockBegun():
                self._step = None
                self._voice.say(sentence(event))
            case StepTold(number=number, text=text) if number != self._step:
                self._step = number
                self._voice.say(text)


def sentence(block: BlockBegun) -> str:
    """What is said as a block begins."""
    said = phrase("spoken_block", name=block.name)
    if block.role in UNTOLD:
        return f"{said} {phrase('spoken_untold')}"
    return f"{said} {phrase('spoken_estimate')}" if block.estimate else said
