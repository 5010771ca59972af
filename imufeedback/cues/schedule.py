"""Events to cues: which sound, until when, how urgent, and when to keep quiet.

A cue about the movement is made only while it can still be heard in time. Older data than `CUE_LIFE_S` makes no cue at
all, and a cue that waits longer is dropped by the player, never played late.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from imufeedback.cues.waveforms import SOUNDS
from imufeedback.errors import UsageError
from imufeedback.records import (
    Cue,
    Event,
    FitStep,
    Fitted,
    Link,
    LinkState,
    Motion,
    Phase,
    PhaseChanged,
    Rep,
    StateChanged,
)
from imufeedback.stage import Stage

CUE_LIFE_S = 0.150
"""Longest time from the deciding sample to the sound: the outer limit of the target "sensor to sound <= 100 ms (at most
150 ms)". People notice 180 ms (van Vugt & Tillmann 2014) and musicians 102 ms between act and sound; what comes later
than that is felt to belong to another movement, so it must not sound at all."""

PRIORITY: Mapping[str, int] = {
    "link-lost": 70,  # silence would otherwise be read as "all is well"
    "regaining": 60,
    "stalled": 50,
    "target-reached": 40,
    "ready": 30,
    "link-back": 25,
    "fit-step": 20,
    "rep-counted": 10,
}
"""Urgency of every sound; the higher one wins."""


@dataclass(frozen=True, slots=True)
class CueSettings:
    """What may sound. Names left out of `enabled` are on."""

    enabled: Mapping[str, bool] = field(default_factory=dict)
    muted: bool = False


@dataclass(frozen=True, slots=True)
class Heard:
    """An event, and the session time of the newest sample when it came out."""

    now_s: float
    event: Event


@dataclass(slots=True)
class _State:
    enabled: dict[str, bool]
    muted: bool
    given: set[Motion] = field(default_factory=set)
    """Kinds of movement cue already given since the angle was last being lost."""
    lost: set[str] = field(default_factory=set)
    """Sensors that are silent."""


class Cueing(Stage[Heard, Cue]):
    """Turns events into cues; see the module."""

    _state: _State

    def __init__(self, settings: CueSettings | None = None) -> None:
        """Raises UsageError for a sound that does not exist."""
        settings = settings or CueSettings()
        self._state = _State(dict.fromkeys(SOUNDS, True), settings.muted)
        for sound, on in settings.enabled.items():
            self.set_enabled(sound, on)

    def set_enabled(self, sound: str, on: bool) -> None:
        """Switch one sound on or off. Raises UsageError for a sound that does not exist."""
        if sound not in SOUNDS:
            raise UsageError(f"there is no sound {sound!r}", where="cues", hint=f"choose of {', '.join(SOUNDS)}")
        self._state.enabled[sound] = on

    def set_muted(self, muted: bool) -> None:
        """Silence everything, or let it sound again; what each sound was set to stays."""
        self._state.muted = muted

    def feed(self, item: Heard) -> list[Cue]:
        """The cues that follow from one event: none or one."""
        match item.event:
            case StateChanged() as event:
                return self._movement(item.now_s, event)
            case PhaseChanged(phase=Phase.DOWNSWING):
                self._state.given.clear()
            case Link() as event:
                return self._link(item.now_s, event)
            case FitStep(t_s=t_s, number=number, of=last) if number < last:
                return self._cue("fit-step", t_s, item.now_s)  # after the last one comes "ready", or a refusal
            case Fitted(t_s=t_s, stored=False):
                return self._cue("ready", t_s, item.now_s)
            case Rep(index=index):
                # A rep ends when it is seen to have ended: the deciding sample is the newest one, not its last mark.
                return self._cue("rep-counted", item.now_s, item.now_s, index)
        return []

    def _movement(self, now_s: float, event: StateChanged) -> list[Cue]:
        given = self._state.given
        if event.state in (Motion.LOSING, Motion.IDLE):
            given.clear()
            return []
        if event.state in given:
            return []
        given.add(event.state)
        return self._cue(event.state.value, event.t_s, now_s)

    def _link(self, now_s: float, event: Link) -> list[Cue]:
        lost = self._state.lost
        if event.state in (LinkState.LOST, LinkState.SILENT):
            known = event.sensor in lost
            lost.add(event.sensor)
            return [] if known else self._cue("link-lost", event.t_s, now_s)
        if event.state in (LinkState.STREAMING, LinkState.CLOSED) and event.sensor in lost:
            lost.discard(event.sensor)
            # "Back" must mean that all is well again, so it waits for the last sensor.
            if event.state is LinkState.STREAMING and not lost:
                return self._cue("link-back", event.t_s, now_s)
        return []

    def _cue(self, sound: str, t_s: float, now_s: float, rep: int | None = None) -> list[Cue]:
        if self._state.muted or not self._state.enabled[sound] or now_s - t_s > CUE_LIFE_S:
            return []
        return [Cue(sound, t_s, t_s + CUE_LIFE_S, PRIORITY[sound], rep)]
