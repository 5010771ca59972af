"""One device kept open, silence in between, cues from memory.

The device's callback takes rendered samples out of a `Mixer`; nothing in it locks, allocates arrays or does I/O. A
watcher thread compares frames consumed with time, because a device that goes away often says nothing: when the
callbacks stop, or the system's default output is another one, it opens the default device again, with growing pauses.
Nothing here ever raises into the measuring path; what went wrong is told through `notices()`.
"""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable, Generator, Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import miniaudio
import numpy as np

from imufeedback.audio.device import BUFFER_MS, RATE_HZ, Device, Lister, open_device, words
from imufeedback.audio.outputs import PLAIN_DELAY_S, Output
from imufeedback.cues.mixer import MAX_FRAMES, Mixer, Request, Started
from imufeedback.cues.waveforms import SOUNDS, Samples, render
from imufeedback.errors import SoundError
from imufeedback.threads import first_turn

__all__ = ["BUFFER_MS", "RATE_HZ", "CuePlayer", "SoundTotals", "Sounder", "WatchedPlayer", "open_player"]

START_LEVEL = 0.25
"""Volume to begin with: -12 dB below the sounds' own -12 dBFS. Common practice, no source; the player turns it up."""

CEILING_LEVEL = 0.7
"""Volume that cannot be passed, the one place for it."""

UNDERRUN_SLACK_S = 0.030
"""A callback this much later than the frames given last time means that the device's three periods ran dry."""

STALL_S = 0.5
"""No callback for so long: the device is gone. With the watcher's step it is noticed well within 2 s."""

START_GRACE_S = 4.0
"""A device that was just opened may take its first buffer and then nothing until an idle sink has played out what it
held: measured 2.0 s with an idle PulseAudio sink. It counts as running from its `RUNNING_CALLS`-th callback on."""

RUNNING_CALLS = 3

WATCH_STEP_S = 0.25
REOPEN_PAUSES_S = (0.5, 1.0, 2.0, 5.0)
"""Pauses before trying to open a device again; the last one repeats."""

LOOK_STEP_S = 2.0
"""How often the system is asked which output is the default one."""


@dataclass(frozen=True, slots=True)
class SoundTotals:
    """Counts since the player was opened."""

    played: int = 0
    expired: int = 0
    """Too late: dropped."""
    outranked: int = 0
    """Dropped for a more urgent or newer one."""
    underruns: int = 0
    """Estimate, from late callbacks."""
    errors: int = 0
    reopened: int = 0
    silent: int = 0
    """Cues that came while there was no device."""


class Sounder(Protocol):
    """What plays the sounds of a session."""

    reason: str
    """One line: where the sound goes, or why there is none."""

    def play(self, sound: str, deadline_ns: int, priority: int = 0, tag: int = 0) -> None:
        """Start a sound now, or never when the clock has passed `deadline_ns`. Any thread; never blocks.

        `tag` is the caller's own mark and comes back in `started`.
        """

    def hold(self, semitones: int | None, deadline_ns: int) -> None:
        """The held tone has this pitch until the deadline, unless it is renewed; None ends it. Any thread."""

    def started(self) -> list[Started]:
        """Sounds that began and were not asked for yet, oldest first."""

    @property
    def output_delay_s(self) -> float:
        """From the device's callback to the ear, as far as it is known."""

    @property
    def trouble(self) -> str:
        """Why nothing can be heard now, in one line; empty while there is an output. Any thread."""

    def set_level(self, level: float) -> float:
        """Volume of the sounds that start from now on, 0 to `CEILING_LEVEL`; returns what was set."""

    def notices(self) -> list[str]:
        """What a person should know and has not been told yet, one line each. To be polled."""

    @property
    def totals(self) -> SoundTotals: ...

    def close(self) -> None: ...


def rendered() -> dict[str, Samples]:
    """All sounds at the device's rate."""
    return {name: render(name, RATE_HZ) for name in SOUNDS}


class CuePlayer:
    """Plays cues; see the module. Use `open_player`, or give a `clock` and an `opener` of your own in tests."""

    def __init__(
        self,
        sounds: Mapping[str, Samples],
        clock: Callable[[], int] = time.monotonic_ns,
        opener: Callable[[], Device] = open_device,
        look: Callable[[], Output | None] = lambda: None,
        *,
        wait: bool = False,
    ) -> None:
        """Open the device and start silence.

        Args:
            sounds: (N,) float32 each, at `RATE_HZ`.
            clock: monotonic nanoseconds; the clock that deadlines are on.
            opener: opens a device.
            look: tells the system's default output; None when that is not known.
            wait: without a device, go on and look for one; else SoundError is raised.
        """
        self.reason = ""
        self.output: Output | None = None
        """Where the sound goes; None when that is not known."""
        self._look = look
        self._looked_ns = clock()
        self._absent = False
        self._mixer = Mixer(sounds, RATE_HZ, START_LEVEL)
        self._clock = clock
        self._opener = opener
        self._notices: deque[str] = deque(maxlen=100)
        self._errors = self._errors_told = self._underruns = self._reopened = self._silent = 0
        self._last_error = ""
        self._called_ns = clock()
        self._asked_frames = 0
        self._calls = 0
        self._tries = 0
        self._retry_ns = 0
        self._device: Device | None = None
        try:
            self._open()
        except SoundError as error:
            if not wait:
                raise
            self._absent = True
            self.reason = f"{error}; the work goes on without sound until there is one"
            self._plan_retry(clock())

    # ── any thread ────────────────────────────────────────────────────────────────────────────────────────────────

    def play(self, sound: str, deadline_ns: int, priority: int = 0, tag: int = 0) -> None:
        """See `Sounder.play`. A sound that does not exist becomes a notice."""
        if self._device is None:
            self._silent += 1
            return
        try:
            self._mixer.hand_over(Request(sound, deadline_ns, priority, tag))
        except KeyError:
            self._notices.append(f"sound: there is no sound {sound!r}")

    def hold(self, semitones: int | None, deadline_ns: int) -> None:
        self._mixer.hold(semitones, deadline_ns)

    def started(self) -> list[Started]:
        out = []
        while self._mixer.started:
            out.append(self._mixer.started.popleft())
        return out

    @property
    def output_delay_s(self) -> float:
        return PLAIN_DELAY_S if self.output is None else self.output.delay_s

    def set_level(self, level: float) -> float:
        self._mixer.gain = min(max(level, 0.0), CEILING_LEVEL)
        return self._mixer.gain

    def notices(self) -> list[str]:
        out = []
        while self._notices:
            out.append(self._notices.popleft())
        return out

    @property
    def totals(self) -> SoundTotals:
        mixer = self._mixer
        return SoundTotals(
            played=mixer.played,
            expired=mixer.expired,
            outranked=mixer.outranked + mixer.pushed_out,
            underruns=self._underruns,
            errors=self._errors,
            reopened=self._reopened,
            silent=self._silent,
        )

    @property
    def level(self) -> float:
        return self._mixer.gain

    @property
    def running(self) -> bool:
        """The device takes samples. Cues that come before it does are dropped like any late cue."""
        return self._device is not None and self._calls >= RUNNING_CALLS

    @property
    def trouble(self) -> str:
        if self._device is not None:
            return ""
        return "no sound output was found" if self._absent else "the sound output stopped"

    def close(self) -> None:
        """Stop the sound and give the device back."""
        self._drop_device()

    # ── the watcher's thread ──────────────────────────────────────────────────────────────────────────────────────

    def tend(self) -> None:
        """Tell of errors, notice a device that stopped, open it again. To be called about every `WATCH_STEP_S`."""
        if self._errors != self._errors_told:
            self._errors_told = self._errors
            self._notices.append(f"sound: making the samples failed ({self._last_error}) – that sound was dropped")
        now_ns = self._clock()
        if self._device is None:
            if now_ns >= self._retry_ns:
                self._reopen(now_ns)
        elif now_ns - self._called_ns > (STALL_S if self.running else START_GRACE_S) * 1e9:
            if not self._tries:
                text = "sound: the output stopped – check the speaker or headphones; trying to open it again"
                self._notices.append(text)
            self._drop_device()
            self._plan_retry(now_ns)
        elif self._tries and self.running:
            self._tries = 0
            self._reopened += 1
            self._notices.append(f"sound: the output is {'there' if self._absent else 'back'} ({self.reason})")
            self._absent = False
        elif now_ns - self._looked_ns > LOOK_STEP_S * 1e9:
            self._follow_default(now_ns)

    def _follow_default(self, now_ns: int) -> None:
        """The person chose another output, or plugged one in: go there, and say so."""
        self._looked_ns = now_ns
        there, here = self._look(), self.output
        if there is None or here is None or there.id == here.id:
            return
        self._drop_device()
        self._reopen(now_ns)
        if self._device is not None:
            self._notices.append(f"sound: the default output changed – {self.reason}")

    def _reopen(self, now_ns: int) -> None:
        try:
            self._open()
        except SoundError:
            self._plan_retry(now_ns)

    def _plan_retry(self, now_ns: int) -> None:
        pause_s = REOPEN_PAUSES_S[min(self._tries, len(REOPEN_PAUSES_S) - 1)]
        self._tries += 1
        self._retry_ns = now_ns + round(pause_s * 1e9)

    def _open(self) -> None:
        device = self._opener()
        self._called_ns, self._asked_frames, self._calls = self._clock(), 0, 0
        source = self._source()
        next(source)
        try:
            device.start(source)
        except miniaudio.MiniaudioError as error:
            device.close()
            raise SoundError(f"the output does not start ({words(error)})", where="sound", hint="check it") from None
        self._device = device
        self._meet(self._look(), device.backend)

    def _meet(self, output: Output | None, backend: str) -> None:
        """Say where the sound goes, and warn of an output that is late."""
        self.output, self._looked_ns = output, self._clock()
        name = "the default output" if output is None else output.name
        self.reason = f"sound goes to {name} through {backend}"
        if output is not None and output.warning is not None:
            self._notices.append(output.warning)

    def _drop_device(self) -> None:
        device, self._device = self._device, None
        if device is None:
            return
        try:
            device.close()
        except miniaudio.MiniaudioError as error:
            self._notices.append(f"sound: the old output did not close ({words(error)})")

    # ── the device's callback ─────────────────────────────────────────────────────────────────────────────────────

    def _source(self) -> Generator[memoryview, int, None]:
        """Gets a number of frames, gives that many samples; lives as long as its device.

        Errors do not cross the native border (the callback would just go quiet for good), so they stop here: silence
        in place of this sound, and a flag for `tend`.
        """
        buffer = np.zeros(MAX_FRAMES, np.float32)
        raw = buffer.data.cast("B")
        frames = yield raw[:0]
        first_turn()  # from here on it is the device's own thread
        while True:
            count = min(frames, MAX_FRAMES)
            try:
                self._fill(buffer[:count], self._clock())
            except Exception as error:  # noqa: BLE001 - see above
                buffer[:count] = 0.0
                self._mixer.silence()
                self._last_error = f"{type(error).__name__}: {error}"
                self._errors += 1
            frames = yield raw[: count * 4]

    def _fill(self, out: Samples, now_ns: int) -> None:
        late_s = (now_ns - self._called_ns) * 1e-9 - self._asked_frames / RATE_HZ
        self._underruns += self.running and late_s > UNDERRUN_SLACK_S
        self._calls += 1
        self._called_ns, self._asked_frames = now_ns, out.size
        self._mixer.fill(out, now_ns)


class WatchedPlayer(CuePlayer):
    """A `CuePlayer` with its watcher thread."""

    def __init__(
        self,
        sounds: Mapping[str, Samples],
        clock: Callable[[], int] = time.monotonic_ns,
        opener: Callable[[], Device] = open_device,
        look: Callable[[], Output | None] = lambda: None,
        *,
        wait: bool = False,
    ) -> None:
        super().__init__(sounds, clock, opener, look, wait=wait)
        self._stop = threading.Event()
        self._watcher = threading.Thread(target=self._watch, name="sound-watcher", daemon=True)
        self._watcher.start()

    def _watch(self) -> None:
        while not self._stop.wait(WATCH_STEP_S):
            self.tend()

    def close(self) -> None:
        self._stop.set()
        self._watcher.join(2.0)
        super().close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, tb: TracebackType | None) -> None:
        self.close()


def open_player(
    clock: Callable[[], int] = time.monotonic_ns,
    opener: Callable[[], Device] = open_device,
    look: Callable[[], Output | None] | None = None,
) -> WatchedPlayer:
    """A player on the default output, also on one that comes later; its `reason` is one line for the person."""
    return WatchedPlayer(rendered(), clock, opener, look or Lister().default_output, wait=True)
