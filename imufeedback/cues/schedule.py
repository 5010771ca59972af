"""Events to cues: which sound, until when, how urgent, and when to keep quiet.

A cue about the movement is made only while it can still be heard in time. Older data than `CUE_LIFE_S` makes no cue at
all, and a cue that waits longer is dropped by the player, never played late.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from imufeedback.constants import BATTERY_LOW_PERCENT
from imufeedback.cues.feedback import Feedback
from imufeedback.cues.waveforms import HELD, MEANINGS
from imufeedback.errors import UsageError
from imufeedback.records import (
    BlockBegun,
    Cue,
    Event,
    Finding,
    FitRefused,
    FitStep,
    Fitted,
    Link,
    LinkState,
    Mode,
    Motion,
    Phase,
    PhaseChanged,
    Rep,
    SelfEstimate,
    StateChanged,
    StepTold,
    Tone,
    Verdict,
)
from imufeedback.sounds import BY_NAME
from imufeedback.stage import Stage

CUE_LIFE_S = 0.150
"""Longest time from the deciding sample to the sound: the outer limit of the target "sensor to sound <= 100 ms (at most
150 ms)". People notice 180 ms (van Vugt & Tillmann 2014) and musicians 102 ms between act and sound; what comes later
than that is felt to belong to another movement, so it must not sound at all."""

BATTERY_WELL_PERCENT = 25
"""A sensor whose battery is low is told of once, and again only after it has been at this. Chosen, no source."""


WAIT_S = 0.040
"""Samples that nobody is told of in motion may wait so long. Chosen: a picture of the window lasts 33 ms."""
TOLD_IN = (Phase.BACKSWING, Phase.DOWNSWING)
"""Sounds in motion come in the downswing only; the backswing belongs to it, lest its top is seen late."""


SOUND_OF = {Motion.STALLED: "stalled", Motion.GROWING: "regaining"}
"""Sounds keep the names that recordings know them by."""


@dataclass(frozen=True, slots=True)
class CueSettings:
    """What may sound. Names left out of `enabled` are on; the held sound is off unless it is switched on."""

    enabled: Mapping[str, bool] = field(default_factory=dict)
    muted: bool = False


@dataclass(frozen=True, slots=True)
class TimedEvent:
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
    weak: set[str] = field(default_factory=set)
    """Sensors whose battery was told to be low."""
    feedback: Feedback = field(default_factory=Feedback)
    allowed: frozenset[str] = frozenset()
    """Sounds about the movement that the drill makes; all when empty."""
    rep_in_block: int = 0
    result: str | None = None
    """Sound that tells the result of the rep just done, and has not been made."""
    result_of: int | None = None
    step: int | None = None
    """Of the drill: its step says which reps count. None where there are no steps, or they are over."""
    over: bool = False
    """A rep is over, and its findings are coming in."""
    phase: Phase = Phase.WAITING


class Cueing(Stage[TimedEvent, Cue]):
    """Turns events into cues; see the module."""

    _state: _State

    def __init__(self, settings: CueSettings | None = None) -> None:
        """Raises UsageError for a sound that does not exist."""
        settings = settings or CueSettings()
        self._state = _State(dict.fromkeys(MEANINGS, True) | {HELD: False}, settings.muted)
        for sound, on in settings.enabled.items():
            self.set_enabled(sound, on)

    def set_enabled(self, sound: str, on: bool) -> None:
        """Switch one sound on or off. Raises UsageError for a sound that does not exist."""
        if sound not in MEANINGS:
            raise UsageError(f"there is no sound {sound!r}", where="cues", hint=f"choose of {', '.join(MEANINGS)}")
        self._state.enabled[sound] = on

    def set_muted(self, muted: bool) -> None:
        """Silence everything, or let it sound again; what each sound was set to stays."""
        self._state.muted = muted

    def allows(self, sound: str) -> bool:
        """Whether this sound is switched on and nothing is muted."""
        return self._state.enabled[sound] and not self._state.muted

    def guides(self) -> bool:
        """Whether the held sound may be heard now: it tells while the player moves, as ``stalled`` does."""
        return self.allows(HELD) and self._in_this_rep(Motion.STALLED.value)

    @property
    def may_wait_s(self) -> float:
        """For how long samples may wait now: not at all where the next one may decide a sound in motion."""
        s = self._state
        if s.muted or not (s.feedback.in_motion and s.feedback.has_tones(s.rep_in_block)):
            return WAIT_S
        return 0.0 if s.phase in TOLD_IN else WAIT_S

    def begin_block(self, feedback: Feedback, allowed: Iterable[str] = ()) -> None:
        """From the next rep on: how reps are told about, and which sounds about the movement there are."""
        s = self._state
        s.feedback, s.allowed, s.rep_in_block, s.result, s.step = feedback, frozenset(allowed), 0, None, None

    def feed(self, item: TimedEvent) -> list[Cue]:
        """The cues that follow from one event: none or one."""
        if isinstance(item.event, PhaseChanged):
            self._state.phase = item.event.phase
        match item.event:
            case StateChanged() as event:
                return self._movement(item.now_s, event)
            case Finding() as event:
                return self._found(event)
            case SelfEstimate(rep=rep):
                return self._tell(item.now_s) if rep == self._state.result_of else []
            case StepTold() as event:
                return self._step(item.now_s, event)
            case BlockBegun(t_s=t_s):
                return self._cue("block-begun", t_s, item.now_s)
            case PhaseChanged(phase=Phase.WAITING) if self._state.over:
                return self._over(item.now_s)
            case PhaseChanged(phase=Phase.DOWNSWING):
                self._state.given.clear()
            case Link() as event:
                return self._link(item.now_s, event)
            case FitStep(t_s=t_s, number=number, of=last) if number < last:
                return self._cue("fit-step", t_s, item.now_s)  # after the last one comes "ready", or a refusal
            case Fitted(t_s=t_s, stored=False):
                return self._cue("ready", t_s, item.now_s)
            case FitRefused(t_s=t_s):
                return self._cue("fit-again", t_s, item.now_s)
            case Tone(t_s=t_s, reached=True):
                return self._cue("target-reached", t_s, item.now_s)
            case Rep(index=index, void=void):
                return [] if void else self._counted(item.now_s, index)  # silence: no sound says "this did not count"
        return []

    def _movement(self, now_s: float, event: StateChanged) -> list[Cue]:
        given = self._state.given
        if event.state in (Motion.FALLING, Motion.IDLE):
            given.clear()
            return []
        if event.state in given:
            return []
        given.add(event.state)
        sound = SOUND_OF[event.state]
        return self._cue(sound, event.t_s, now_s) if self._in_this_rep(sound) else []

    def _in_this_rep(self, sound: str) -> bool:
        """Whether the player is told by this sound while he moves: by the mode, the rep's number and the drill."""
        s = self._state
        told = s.feedback.in_motion and s.feedback.has_tones(s.rep_in_block)
        return told and (not s.allowed or sound in s.allowed)

    def _counted(self, now_s: float, index: int) -> list[Cue]:
        """A rep ends when it is seen to have ended: the deciding sample is the newest one, not its last mark."""
        s = self._state
        s.over, s.result_of, s.result = True, index, None
        if s.feedback.after_rep and s.feedback.has_tones(s.rep_in_block):
            s.result = "target-reached" if s.feedback.mode is Mode.AFTER_REP else None
            if not s.feedback.estimate:
                return []  # the result says that it counted
        return [] if s.step is not None else self._cue("rep-counted", now_s, now_s, index)

    def _step(self, now_s: float, told: StepTold) -> list[Cue]:
        """A rep of a drill counts when its step says so; another step sounds as another block does."""
        s = self._state
        before, s.step = s.step, None if told.over else told.number
        if told.rep is None or s.feedback.after_rep:
            return []
        if not told.over and told.number != before:
            return self._cue("block-begun", now_s, now_s)
        return [] if told.why else self._cue("rep-counted", now_s, now_s, told.rep)

    def _found(self, finding: Finding) -> list[Cue]:
        """The most urgent of a rep's faults gives its result, so that a push back is heard before the stall that
        follows from it; what is unsure is no fault."""
        s = self._state
        first = s.result in (None, "target-reached")
        sound = finding.cue or "stalled"
        told = s.feedback.after_rep and s.feedback.has_tones(s.rep_in_block)
        more = first or BY_NAME[sound].urgency > BY_NAME[s.result or sound].urgency
        if s.over and more and told and finding.verdict is Verdict.FAULT:
            s.result = sound
        return []

    def _over(self, now_s: float) -> list[Cue]:
        s = self._state
        s.over = False
        s.rep_in_block += 1
        return [] if s.feedback.estimate else self._tell(now_s)

    def _tell(self, now_s: float) -> list[Cue]:
        s = self._state
        sound, s.result = s.result, None
        return [] if sound is None else self._cue(sound, now_s, now_s, s.result_of)

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
        return self._battery(now_s, event)

    def _battery(self, now_s: float, event: Link) -> list[Cue]:
        percent, weak = event.facts.get("battery_percent"), self._state.weak
        if not isinstance(percent, int | float):
            return []
        if percent >= BATTERY_WELL_PERCENT:
            weak.discard(event.sensor)
        if percent > BATTERY_LOW_PERCENT or event.sensor in weak:
            return []
        weak.add(event.sensor)
        return self._cue("battery-low", event.t_s, now_s)

    def _cue(self, sound: str, t_s: float, now_s: float, rep: int | None = None) -> list[Cue]:
        if not self.allows(sound) or now_s - t_s > CUE_LIFE_S:
            return []
        return [Cue(sound, t_s, t_s + CUE_LIFE_S, BY_NAME[sound].urgency, rep)]
