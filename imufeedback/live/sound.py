"""The sound of a session: cues handed to the device in time, and how late they are heard."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from imufeedback.audio import Sounder
from imufeedback.cues.mixer import Started
from imufeedback.records import Cue, Event, Tone

DELAYS_KEPT = 50
"""Newest cues that the running estimate of the delay is made of."""


@dataclass(frozen=True, slots=True)
class SoundDelay:
    """From motion to sound, of the newest cues; seconds. An estimate: what the radio takes at least is not seen."""

    count: int
    median_s: float
    worst_s: float


class SoundSink:
    """Plays the cues of a live session; remembers which were handed to the device in time, and how late they began."""

    def __init__(self, sounder: Sounder, *, begin_ns: int, clock: Callable[[], int]) -> None:
        """`begin_ns` and `clock` are of one clock: the one that stamps the items."""
        self._sounder = sounder
        self._begin_ns = begin_ns
        self._clock = clock
        self.played: set[tuple[str, float]] = set()
        """(sound, t_s) of every cue that was handed over before it expired."""
        self.started: list[Started] = []
        """Every sound that began, oldest first."""
        self.heard: dict[tuple[str, int], float] = {}
        """Session time at which a cue was heard, as far as the output's own delay is known; see `heard_s`."""
        self.late = 0
        self._delays_s: deque[float] = deque(maxlen=DELAYS_KEPT)

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            if isinstance(event, Cue):
                self._play(event)
            elif isinstance(event, Tone):
                self._sounder.hold(event.semitones, self._host_ns(event.expires_s))
        self.collect()

    def _host_ns(self, t_s: float) -> int:
        return self._begin_ns + round(t_s * 1e9)

    def _play(self, cue: Cue) -> None:
        deadline_ns = self._host_ns(cue.expires_s)
        if self._clock() > deadline_ns:
            self.late += 1
            return
        self._sounder.play(cue.sound, deadline_ns, cue.priority, self._host_ns(cue.t_s))
        self.played.add((cue.sound, cue.t_s))

    def collect(self) -> None:
        """Take over what the player has begun since the last time. Engine thread, or after its end."""
        for started in self._sounder.started():
            heard_ns = started.now_ns + self._sounder.output_delay_s * 1e9
            if not started.request.tag:
                continue  # asked for by a person, not by a movement
            self.started.append(started)
            self.heard[started.request.sound, started.request.tag] = (heard_ns - self._begin_ns) * 1e-9
            self._delays_s.append((heard_ns - started.request.tag) * 1e-9)

    def heard_s(self, sound: str, t_s: float) -> float | None:
        """Session time at which a cue of this time was heard, as far as is known; None when it was not."""
        return self.heard.get((sound, self._host_ns(t_s)))

    def delay(self) -> SoundDelay | None:
        """The running estimate; None before the first cue. Any thread."""
        newest = sorted(list(self._delays_s))  # noqa: C414 - the copy is made in one step, sorting is not
        return SoundDelay(len(newest), newest[len(newest) // 2], newest[-1]) if newest else None
