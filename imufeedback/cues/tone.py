"""The held sound ``losing``: soft, as long as the trail thigh angle is being lost, its pitch following what is left.

`LosingTone` decides (a stage: events in, `Tone` out); `HeldTone` makes the samples. Pitches are equal-tempered, one
semitone for every `STEP_DEG` of angle that is left, and glide from one to the next. At the target the pitch is that of
the first note of ``target-reached``, which takes over there.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from imufeedback.cues.schedule import CUE_LIFE_S, TimedEvent
from imufeedback.cues.waveforms import SECOND_HARMONIC, Pitch, Samples, level_for, rise
from imufeedback.records import Angles, Hand, Motion, Phase, PhaseChanged, StateChanged, Tone
from imufeedback.stage import Stage

STEP_DEG = 2.0
"""Thigh angle for one semitone: larger than the error of its change during one rep. Chosen, no source."""
TARGET_SEMITONES, SPAN_SEMITONES = 3, 12
"""Pitch at the target (C5), and how far below it the lowest one lies (C4: small speakers can still do it)."""
REFRESH_S = 0.050
"""The tone is renewed so often, and dies out by itself when nobody does."""
RAMP_S = 0.020
MAX_FRAMES = 48_000
BEFORE = (Phase.WAITING, Phase.ADDRESS, Phase.BACKSWING, Phase.FINISH)


@dataclass(slots=True)
class _State:
    losing: bool = False
    told: int | None = None
    """Semitones of the newest tone; None while there is none."""
    told_s: float = -np.inf


class LosingTone(Stage[TimedEvent, Tone]):
    """Follows the trail thigh angle while the live state is losing."""

    _state: _State

    def __init__(self, *, hand: Hand, target_rad: float = 0.0) -> None:
        self._hand = hand
        self._state = _State()
        self.use(target_rad)

    def use(self, target_rad: float) -> None:
        """From now on the pitch rises towards this angle."""
        self._target_rad = target_rad

    @property
    def follows(self) -> bool:
        """Whether angles are listened to: the end of each of their blocks makes the pitch."""
        return self._state.losing

    def feed(self, item: TimedEvent) -> list[Tone]:
        """The tone that follows from one event: none or one."""
        match item.event:
            case StateChanged(t_s=t_s, state=state):
                self._state.losing = state is Motion.FALLING
                return [] if self._state.losing else self._end(t_s)
            case PhaseChanged(t_s=t_s, phase=phase) if phase in BEFORE:
                self._state.losing = False
                return self._end(t_s)
            case Angles() as angles if self._state.losing:
                return self._follow(item.now_s, angles)
        return []

    def _follow(self, now_s: float, angles: Angles) -> list[Tone]:
        s = self._state
        t_s = float(angles.t_s[-1])
        hip = angles.joint("hip", self._hand.trail)
        left_deg = float(np.degrees(hip.angle_rad[-1, 0] - self._target_rad))
        if not hip.ok[-1, 0] or left_deg != left_deg or now_s - t_s > CUE_LIFE_S:
            return self._end(t_s)
        if left_deg <= 0.0:
            s.losing = False
            return self._end(t_s, reached=True)
        pitch = TARGET_SEMITONES - min(round(left_deg / STEP_DEG), SPAN_SEMITONES)
        if pitch == s.told and t_s - s.told_s < REFRESH_S:
            return []
        s.told, s.told_s = pitch, t_s
        return [Tone(t_s, t_s + CUE_LIFE_S, pitch)]

    def _end(self, t_s: float, *, reached: bool = False) -> list[Tone]:
        s = self._state
        if s.told is None and not reached:
            return []
        s.told = None
        return [Tone(t_s, t_s + CUE_LIFE_S, None, reached)]


class HeldTone:
    """One tone of any length and pitch, made sample by sample in the device's callback: no array is allocated.

    Its level glides along a raised cosine and its pitch in a straight line over each buffer, while the phase runs on:
    nothing jumps.
    """

    def __init__(self, rate_hz: int) -> None:
        self._rate_hz = rate_hz
        self._level = held_level()
        self._ramp = rise(round(RAMP_S * rate_hz)).astype(np.float32)
        self._fall = self._ramp[::-1].copy()
        self._at = 0
        """How far up the ramp: 0 is silence."""
        self._phase, self._step = 0.0, 0.0
        self._count = np.arange(MAX_FRAMES, dtype=np.float64)
        self._square = self._count * (self._count + 1.0) / 2.0
        self._turn = np.zeros(MAX_FRAMES)
        self._sine = np.zeros(MAX_FRAMES)

    @property
    def silent(self) -> bool:
        return self._at == 0

    def add(self, out: Samples, hz: float | None, gain: float) -> None:
        """Add the next samples to `out` (N,), N <= `MAX_FRAMES`; None lets the tone die out."""
        if hz is None and self.silent:
            return
        n = out.size
        turn, sine = self._turn[:n], self._sine[:n]
        wanted = self._step if hz is None else 2.0 * np.pi * hz / self._rate_hz
        begin = wanted if self.silent else self._step
        np.multiply(self._count[:n], begin, out=turn)
        np.multiply(self._square[:n], (wanted - begin) / n, out=sine)
        np.add(turn, sine, out=turn)
        np.add(turn, self._phase, out=turn)
        np.sin(turn, out=sine)
        self._phase = (self._phase + begin * n + (wanted - begin) * (n + 1) / 2.0) % (2.0 * np.pi)
        self._step = wanted
        np.multiply(turn, 2.0, out=turn)
        np.sin(turn, out=turn)
        np.multiply(turn, SECOND_HARMONIC, out=turn)
        np.add(sine, turn, out=sine)
        np.multiply(sine, self._level * gain, out=sine)
        self._shape(sine, up=hz is not None)
        np.add(out, sine, out=out, casting="unsafe")

    def _shape(self, samples: np.ndarray[tuple[int], np.dtype[np.float64]], *, up: bool) -> None:
        size, n = self._ramp.size, samples.size
        if up:
            part = min(n, size - self._at)
            np.multiply(samples[:part], self._ramp[self._at : self._at + part], out=samples[:part])
            self._at += part
        else:
            part = min(n, self._at)
            begin = size - self._at
            np.multiply(samples[:part], self._fall[begin : begin + part], out=samples[:part])
            samples[part:] = 0.0
            self._at -= part


def pitch_hz(semitones: int) -> float:
    return Pitch(semitones, 0.0).hz


@cache
def held_level() -> float:
    """Level at which the tone is as loud as every other sound, half way between its lowest pitch and the target."""
    at = 2.0 * np.pi * pitch_hz(TARGET_SEMITONES - SPAN_SEMITONES // 2) * np.arange(48_000) / 48_000
    return level_for(np.sin(at) + SECOND_HARMONIC * np.sin(2.0 * at))
