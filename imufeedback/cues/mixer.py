"""One voice that plays sounds from memory: hand-over, priorities, expiry, and no clicks; and a held tone under it.

Pure: the caller gives the time and the buffer. `Mixer.fill` runs in the sound device's callback, so it takes no lock,
does no I/O and allocates no arrays; `Mixer.hand_over` runs in any other thread. The two share one deque, whose append
and popleft are atomic.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.cues.tone import HeldTone, pitch_hz
from imufeedback.cues.waveforms import Samples, rise

FADE_S = 0.012
"""A sound that is cut off by a more urgent one fades out this long: a raised cosine, like the notes' own ramps."""

WAITING_MAX = 16
"""More hand-overs than this between two callbacks push out the oldest; they would be stale."""

STARTED_KEPT = 64

MAX_FRAMES = 48_000
"""Longest buffer that is filled in one go; a device that asks for more gets silence behind it."""


@dataclass(frozen=True, slots=True)
class Request:
    """A sound to start before a deadline on the caller's clock."""

    sound: str
    deadline_ns: int
    priority: int
    tag: int = 0
    """The caller's own mark; comes back in `Started`."""


@dataclass(frozen=True, slots=True)
class Started:
    """A sound whose first sample went out."""

    request: Request
    now_ns: int
    """Start of the buffer that it is at the beginning of."""


class Mixer:
    """Plays one sound at a time into buffers of any length.

    A more or equally urgent request takes over from the running sound; a less urgent one waits until the sound is over
    or its deadline has passed. One request waits at most. The counters are read by other threads, written by `fill`.
    """

    def __init__(self, sounds: Mapping[str, Samples], rate_hz: int, gain: float) -> None:
        """Args: sounds: (N,) float32 each, already rendered at `rate_hz`; gain: factor for sounds that start."""
        self.gain = gain
        self.played = 0
        """Sounds started."""
        self.expired = 0
        """Requests dropped because their deadline had passed."""
        self.outranked = 0
        """Requests dropped for a more urgent or newer one."""
        self.cut = 0
        """Sounds that were running when another took over."""
        self.pushed_out = 0
        """Requests that fell out of a full inbox; written by `hand_over`."""
        self.started: deque[Started] = deque(maxlen=STARTED_KEPT)
        """The newest sounds that began; whoever reads takes them out."""
        self._sounds = dict(sounds)
        self._inbox: deque[Request] = deque(maxlen=WAITING_MAX)
        self._waiting: Request | None = None
        self._fade = rise(round(FADE_S * rate_hz))[::-1].astype(np.float32)
        self._tone = HeldTone(rate_hz)
        self._held: tuple[float, int] | None = None
        """Pitch (Hz) and deadline of the held tone; replaced whole, so that `fill` never sees half of it."""
        self._scratch = np.zeros(MAX_FRAMES, np.float32)
        self._silence: Samples = np.zeros(0, np.float32)
        self._now, self._at, self._now_gain, self._now_priority = self._silence, 0, 0.0, 0
        self._old, self._old_at, self._old_gain, self._fade_at = self._silence, 0, 0.0, self._fade.size

    @property
    def playing(self) -> bool:
        return self._at < self._now.size

    @property
    def _fading(self) -> bool:
        """A second take-over waits these few milliseconds: cutting the fade itself would click."""
        return self._fade_at < min(self._fade.size, self._fade_at + self._old.size - self._old_at)

    def hand_over(self, request: Request) -> None:
        """Ask for a sound; any thread, never blocks. KeyError for a sound that was not given."""
        if request.sound not in self._sounds:
            raise KeyError(request.sound)
        self.pushed_out += len(self._inbox) == WAITING_MAX
        self._inbox.append(request)

    def hold(self, semitones: int | None, deadline_ns: int) -> None:
        """From now on the held tone has this pitch, until the deadline unless it is renewed; None ends it.

        Any thread, never blocks.
        """
        self._held = None if semitones is None else (pitch_hz(semitones), deadline_ns)

    def fill(self, out: Samples, now_ns: int) -> None:
        """Write the next samples into `out` (N,), N <= `MAX_FRAMES`. Runs in the device's callback."""
        self._choose(now_ns)
        held_hz = self._held_hz(now_ns)
        out[:] = 0.0
        self._at = self._add(out, self._now, self._at, self._now_gain)
        self._fade_out(out)
        self._tone.add(out, held_hz, self.gain)

    def _held_hz(self, now_ns: int) -> float | None:
        """The held tone gives way to every other sound: two pitches at once would be read as neither."""
        held = self._held
        return None if held is None or now_ns > held[1] or self.playing else held[0]

    def silence(self) -> None:
        """Forget what is running, fading and held, for instance because it cannot be played."""
        self._held = None
        self._now = self._old = self._silence
        self._at = self._old_at = 0

    def _choose(self, now_ns: int) -> None:
        while self._inbox:
            request = self._inbox.popleft()
            if self._waiting is None or request.priority >= self._waiting.priority:
                self.outranked += self._waiting is not None
                self._waiting = request
            else:
                self.outranked += 1
        waiting = self._waiting
        if waiting is None:
            return
        if now_ns > waiting.deadline_ns:
            self.expired += 1
            self._waiting = None
        elif not self.playing or (waiting.priority >= self._now_priority and not self._fading):
            self._waiting = None
            self._start(waiting, now_ns)

    def _start(self, request: Request, now_ns: int) -> None:
        if self.playing:
            self.cut += 1
            self._old, self._old_at, self._old_gain, self._fade_at = self._now, self._at, self._now_gain, 0
        self._now, self._at = self._sounds[request.sound], 0
        self._now_gain, self._now_priority = self.gain, request.priority
        self.played += 1
        self.started.append(Started(request, now_ns))

    def _add(self, out: Samples, sound: Samples, at: int, gain: float) -> int:
        count = min(out.size, sound.size - at)
        if count > 0:
            scratch = self._scratch[:count]
            np.multiply(sound[at : at + count], np.float32(gain), out=scratch)
            np.add(out[:count], scratch, out=out[:count])
        return at + max(count, 0)

    def _fade_out(self, out: Samples) -> None:
        count = min(out.size, self._fade.size - self._fade_at, self._old.size - self._old_at)
        if count <= 0:
            return
        scratch = self._scratch[:count]
        np.multiply(self._old[self._old_at : self._old_at + count], np.float32(self._old_gain), out=scratch)
        np.multiply(scratch, self._fade[self._fade_at : self._fade_at + count], out=scratch)
        np.add(out[:count], scratch, out=out[:count])
        self._old_at += count
        self._fade_at += count
