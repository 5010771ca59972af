"""The live state in words, for a session without a window: one line an event, on stderr."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING

from imufeedback.cli.output import say

if TYPE_CHECKING:
    from imufeedback.live.spoken import Spoken
    from imufeedback.records import Event, Link, Segment, StepTold


class LiveTeller:
    """Says events in their order, and what tells a result not before it is due. A sink."""

    def __init__(self) -> None:
        from imufeedback.cues.telling import Telling

        self._telling = Telling()

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            for due in self._telling.hear(event):
                line = line_of(due)
                if line is not None:
                    say(line)


@contextmanager
def spoken(*, wanted: bool) -> Iterator[tuple[Spoken, ...]]:
    """The sink that says each block aloud, where that is wanted; its last sentence is waited for."""
    if not wanted:
        yield ()
        return
    from imufeedback.audio.speech import Voice
    from imufeedback.live.spoken import Spoken

    voice = Voice(lambda line: say(f"! {line}"))
    try:
        yield (Spoken(voice),)
    finally:
        voice.close()


def line_of(event: Event) -> str | None:
    """One event in words; None for what a person does not follow."""
    from imufeedback.records import (
        BlockBegun,
        Doubted,
        Fault,
        FitRefused,
        FitStep,
        Fitted,
        Motion,
        Notice,
        Rep,
        SelfEstimate,
        Slipped,
        StateChanged,
        StepTold,
        SwapOffered,
    )

    match event:
        case StateChanged() if event.state is not Motion.IDLE:
            return f"{event.t_s:7.2f} s  trail thigh {event.state}"
        case Rep():
            void = f" does not count: {event.void}" if event.void else ""
            return f"{event.end_s:7.2f} s  rep {event.index + 1}{void}"
        case Fitted():
            return f"{event.t_s:7.2f} s  calibration {event.fit.level}"
        case FitStep():
            return f"{event.t_s:7.2f} s  calibration {event.number}/{event.of}: {event.step} seen. {event.say}"
        case SwapOffered() | Slipped() | Doubted():
            return f"{event.t_s:7.2f} s  {event.text}"
        case FitRefused():
            return f"{event.t_s:7.2f} s  calibration refused: {event.reason}"
        case BlockBegun():
            return f"{event.t_s:7.2f} s  now: {event.name} ({event.role})"
        case StepTold():
            why = f" Did not count: {event.why}" if event.why else ""
            return f"{event.t_s:7.2f} s  {step_line(event)}{why}"
        case SelfEstimate():
            return f"{event.t_s:7.2f} s  the player's estimate of rep {event.rep + 1}: {event.answer}"
        case Fault():
            return f"{event.t_s:7.2f} s  FAULT in {event.where}: {event.what}"
        case Notice():
            return event.text
    return None


def step_line(event: StepTold) -> str:
    """Where the player is in a drill."""
    if event.over:
        return event.text
    head = f"step {event.number + 1} of {event.of}, {event.name}: {event.good} of {event.reps}"
    return head if event.good or event.why else f"{head}. {event.text} Keep still: {event.still}"


class LinkTeller:
    """Says what happens to the sensors' links, each by where it is worn. A link that is searched for again and again is
    told of once."""

    def __init__(self, roles: Mapping[str, Segment]) -> None:
        self._roles = dict(roles)
        self._last: dict[str, str] = {}

    def __call__(self, events: list[Event]) -> None:
        from imufeedback.records import Link

        for event in events:
            if isinstance(event, Link):
                self._take(event)

    def _take(self, event: Link) -> None:
        from imufeedback.records import LinkState

        if event.state is LinkState.CONNECTED or event.state is LinkState.CONNECTING:
            return
        line = f"{event.state}: {event.detail}" if event.detail else str(event.state)
        if self._last.get(event.sensor) == line:
            return
        self._last[event.sensor] = line
        place = str(self._roles.get(event.sensor, "sensor")).replace("_", " ")
        say(f"{event.t_s:7.2f} s  {place} ({event.sensor}) {line}")
