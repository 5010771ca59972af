"""What is wrong in a session now, worst first, each with what to do. Knows nothing of Qt but the language of words."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from enum import IntEnum

from imufeedback.app import words
from imufeedback.phrases import phrase
from imufeedback.records import ClockRestarted, Doubted, Event, Fault, FitRefused, Fitted, Notice, Slipped, SwapOffered

PASSING_S = 8.0
"""What happened once is the headline for so long; the message line and the recording keep it."""


class Weight(IntEnum):
    """How much a trouble may cover."""

    GRAVE = 0
    """Everything: what is done now does not count, is not kept, or is not heard."""
    PASSING = 1
    """The result of the last rep, for a while."""
    MILD = 2
    """Nothing but the hint of a quiet state; while it is new it goes before the result of a rep too."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """What is wrong, and what to do."""

    weight: Weight
    text: str
    word: str = ""
    """In large letters; empty leaves the word of the state."""


class Troubles:
    """Remembers what events told. `name_of` gives the place of a sensor."""

    def __init__(self, name_of: Callable[[str], str], clock: Callable[[], float] = time.monotonic) -> None:
        self._name_of, self._clock = name_of, clock
        self.unrecorded = ""
        self._refused = ""
        self._said, self._until_s = "", 0.0
        self._mildest, self._new_until_s = "", 0.0

    def hear(self, event: Event) -> None:
        match event:
            case Fault(where="recording", what=what):
                self.unrecorded = what
            case Fault(where=where, what=what):
                self._pass(words.fault_and_help(where, what))
            case FitRefused(reason=reason):
                self._refused = reason
            case Fitted():
                self._refused = ""
            case ClockRestarted(sensor=sensor):
                self._pass(words.restarted_and_help(self._name_of(sensor)))
            case Slipped(text=text) | Doubted(text=text) | SwapOffered(text=text):
                self._pass(text)
            case Notice(text=text, t_s=t_s) if t_s > 0.0:  # what is told before anything runs is no trouble of now
                self._pass(text)

    def _pass(self, text: str) -> None:
        self._said, self._until_s = words.as_sentence(text), self._clock() + PASSING_S

    def worst(
        self, gone: list[str], unheard: str, low: tuple[str, float] | None, *, closed: bool, muted: bool
    ) -> Trouble | None:
        """Of what was told and of what is so now: places without their sensor (`closed`: all of them), why no tone can
        be heard, an empty battery, tones that a person switched off."""
        if closed:
            return Trouble(Weight.GRAVE, phrase("all_closed"), words.no_signal_word())
        if gone:
            return Trouble(Weight.GRAVE, words.sensor_gone(gone), words.no_signal_word())
        if self.unrecorded:
            return Trouble(Weight.GRAVE, words.not_recorded_and_help(self.unrecorded), phrase("not_recorded_word"))
        if self._refused:
            return Trouble(Weight.GRAVE, words.refused_and_help(self._refused), phrase("refused_word"))
        if self._said and self._clock() < self._until_s:
            return Trouble(Weight.PASSING, self._said)
        if unheard and not muted:
            return self._mild(phrase("unheard", trouble=unheard), phrase("no_sound_word"))
        if low is not None:
            return self._mild(words.battery_low(*low))
        return self._mild(phrase("muted_and_help")) if muted else self._mild("")

    def _mild(self, text: str, word: str = "") -> Trouble | None:
        if text != self._mildest:
            self._mildest, self._new_until_s = text, self._clock() + PASSING_S
        new = self._clock() < self._new_until_s
        return Trouble(Weight.PASSING if new else Weight.MILD, text, word) if text else None
