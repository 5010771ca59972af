"""The sounds, as arrays.

A small set of our own. Sounds are told apart by pitch contour and rhythm, never by loudness or timbre alone, so that
they survive a small speaker, wind and an untrained ear: see `SOUNDS`.

Besides these there is ``losing``, which is held: see `imufeedback.cues.tone`.

Pitches are equal-tempered from A4 = 440 Hz (ISO 16:1975). Every note begins and ends with a raised-cosine ramp of at
least 10 ms (no click, no burst), and no sound has leading silence: its first ramp is the reaction signal. Every sound
lasts exactly one gating block of ITU-R BS.1770 (400 ms: outputs that wake up late swallow shorter ones) and all are
equally loud by that standard.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from imufeedback.cues.loudness import BLOCK_S, loudness_lufs
from imufeedback.cues.loudness import RATE_HZ as LOUDNESS_RATE_HZ

Samples = npt.NDArray[np.float32]

A4_HZ = 440.0
"""ISO 16:1975, standard tuning frequency."""

LOUDNESS_LUFS = -21.5
"""Of every sound before the volume. Chosen: leaves the peak of the struck one a decibel under -12 dBFS."""

RAMP_S = 0.012
"""Raised-cosine ramp at both ends of a note; 10 ms is the least that is heard as a soft onset."""

SECOND_HARMONIC = 0.25
"""Share of the octave above: keeps the low notes audible on a laptop's small speakers. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Pitch:
    """One pitch: semitones above A4, how long it sounds, the silence after it, and whether it fades as if struck."""

    semitones: int
    length_s: float
    gap_s: float = 0.0
    struck: bool = False

    @property
    def hz(self) -> float:
        """Equal-tempered frequency."""
        return float(A4_HZ * 2.0 ** (self.semitones / 12.0))


@dataclass(frozen=True, slots=True)
class Waveform:
    """A sound: its notes in order."""

    notes: tuple[Pitch, ...]
    meaning: str
    """In words for the player."""

    @property
    def length_s(self) -> float:
        return sum(note.length_s + note.gap_s for note in self.notes)


SOUNDS: dict[str, Waveform] = {
    # level, even: one pitch twice – it does not move any more
    "stalled": Waveform((Pitch(3, 0.180, 0.040), Pitch(3, 0.180)), "the trail hip stopped losing thigh angle"),
    # two steps down, the last one long: it goes the wrong way
    "regaining": Waveform(
        (Pitch(7, 0.090, 0.020), Pitch(3, 0.090, 0.020), Pitch(-4, 0.180)), "the thigh angle grows again"
    ),
    # two quick steps up, the last one long
    "target-reached": Waveform(
        (Pitch(3, 0.090, 0.020), Pitch(7, 0.090, 0.020), Pitch(10, 0.180)), "the target is reached"
    ),
    # one pitch, struck once and fading
    "rep-counted": Waveform((Pitch(-2, BLOCK_S, struck=True),), "one repetition counted"),
    # one step up, short then long
    "fit-step": Waveform((Pitch(-5, 0.090, 0.030), Pitch(0, 0.280)), "this step of the calibration is done"),
    # one step down, long then short
    "fit-again": Waveform((Pitch(0, 0.280, 0.030), Pitch(-5, 0.090)), "that was not clear: do the step again"),
    # up and back again, long-short-long
    "ready": Waveform((Pitch(3, 0.150, 0.020), Pitch(8, 0.070, 0.020), Pitch(3, 0.140)), "ready: take your address"),
    # three steps up, even, the top one twice: something new begins
    "block-begun": Waveform(
        (*(Pitch(one, 0.080, 0.020) for one in (-9, -2, 5)), Pitch(5, 0.100)),
        "the next block begins: look at the screen",
    ),
    # down and up and down, even, like an alarm
    "link-lost": Waveform((*(Pitch(one, 0.085, 0.020) for one in (0, -7, 0)), Pitch(-7, 0.085)), "a sensor is silent"),
    # the low pitch twice, then up
    "link-back": Waveform((Pitch(-7, 0.080, 0.030), Pitch(-7, 0.080, 0.030), Pitch(0, 0.180)), "all sensors are back"),
    # one low pitch three times
    "battery-low": Waveform(
        (Pitch(-9, 0.100, 0.050), Pitch(-9, 0.100, 0.050), Pitch(-9, 0.100)), "charge a sensor soon"
    ),
}
"""Every sound that is played from beginning to end, by its name in `imufeedback.sounds`."""

HELD = "losing"
"""The sound that goes on while the thigh angle is being lost: `imufeedback.cues.tone`."""
MEANINGS = {name: sound.meaning for name, sound in SOUNDS.items()} | {
    HELD: "the thigh angle is being lost; the pitch rises towards the target"
}
"""Every sound the tool can make, and what it means, in words for the player."""


@cache
def render(name: str, rate_hz: int) -> Samples:
    """The sound as samples.

    Args:
        name: a key of `SOUNDS`; KeyError otherwise.
        rate_hz: samples a second.

    Returns:
        (N,) float32, read-only, as loud as `LOUDNESS_LUFS`, zero at both ends.
    """
    level = level_for(_notes(name, LOUDNESS_RATE_HZ))
    out: Samples = (_notes(name, rate_hz) * level).astype(np.float32)
    out.flags.writeable = False
    return out


def level_for(raw: npt.NDArray[np.float64]) -> float:
    """Factor that makes (N,) samples at the loudness' own rate as loud as all sounds are."""
    return float(10.0 ** ((LOUDNESS_LUFS - loudness_lufs(raw)) / 20.0))


def _notes(name: str, rate_hz: int) -> npt.NDArray[np.float64]:
    """(N,) all notes of a sound, not yet levelled."""
    return np.concatenate([_note(note, rate_hz) for note in SOUNDS[name].notes])


def _note(note: Pitch, rate_hz: int) -> npt.NDArray[np.float64]:
    """(N,) one ramped note and the silence after it, not yet levelled."""
    count = round(note.length_s * rate_hz)
    phase = 2.0 * np.pi * note.hz * np.arange(count) / rate_hz
    tone = np.sin(phase) + SECOND_HARMONIC * np.sin(2.0 * phase)
    envelope = _envelope(count, rate_hz, count / rate_hz - RAMP_S if note.struck else RAMP_S)
    return np.concatenate([tone * envelope, np.zeros(round(note.gap_s * rate_hz))])


def _envelope(count: int, rate_hz: int, fall_s: float) -> npt.NDArray[np.float64]:
    """(count,) ones with a raised-cosine ramp at both ends, exactly zero on the first and last sample."""
    up, down = rise(round(RAMP_S * rate_hz)), rise(round(fall_s * rate_hz))[::-1]
    out = np.ones(count)
    out[: up.size] = up
    out[count - down.size :] = down
    return out


def rise(count: int) -> npt.NDArray[np.float64]:
    """(count,) raised cosine from 0 to 1, both ends included."""
    return 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count - 1, 1))
