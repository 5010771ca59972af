"""The sounds, as arrays.

A small set of our own. Sounds are told apart by pitch contour and rhythm, never by loudness or timbre alone, so that
they survive a small speaker, wind and an untrained ear:

* ``stalled``         level, even: one pitch twice – it does not move any more
* ``regaining``       two steps down, the second longer – it goes the wrong way
* ``target-reached``  three quick steps up
* ``rep-counted``     one pitch, once
* ``fit-step``        one step up, short then long
* ``link-lost``       three slow steps down
* ``link-back``       three slow steps up
* ``ready``           up and back again, long-short-long

Pitches are equal-tempered from A4 = 440 Hz (ISO 16:1975). Every note begins and ends with a raised-cosine ramp of at
least 10 ms (no click, no burst), every sound lasts at least 150 ms (outputs that wake up late swallow shorter ones),
and no sound has leading silence: its first ramp is the reaction signal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Samples = npt.NDArray[np.float32]

A4_HZ = 440.0
"""ISO 16:1975, standard tuning frequency."""

PEAK_DBFS = -12.5
"""Peak of every sound before the volume: half a decibel under the ceiling of -12 dBFS."""

RAMP_S = 0.012
"""Raised-cosine ramp at both ends of a note; 10 ms is the least that is heard as a soft onset."""

SECOND_HARMONIC = 0.25
"""Share of the octave above: keeps the low notes audible on a laptop's small speakers. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Note:
    """One pitch: semitones above A4, how long it sounds, and the silence after it."""

    semitones: int
    length_s: float
    gap_s: float = 0.0

    @property
    def hz(self) -> float:
        """Equal-tempered frequency."""
        return float(A4_HZ * 2.0 ** (self.semitones / 12.0))


@dataclass(frozen=True, slots=True)
class Sound:
    """A sound: its notes in order, and what it means, in words for the player."""

    notes: tuple[Note, ...]
    meaning: str

    @property
    def length_s(self) -> float:
        return sum(note.length_s + note.gap_s for note in self.notes)


SOUNDS: dict[str, Sound] = {
    "stalled": Sound((Note(3, 0.080, 0.030), Note(3, 0.080)), "the trail hip stopped losing thigh angle"),
    "regaining": Sound((Note(7, 0.070, 0.015), Note(3, 0.070, 0.015), Note(-4, 0.130)), "the thigh angle grows again"),
    "target-reached": Sound((Note(3, 0.060), Note(7, 0.060), Note(10, 0.120)), "the target angle is reached"),
    "rep-counted": Sound((Note(-2, 0.160),), "one repetition counted"),
    "fit-step": Sound((Note(-5, 0.060, 0.020), Note(0, 0.160)), "this step of the fitting is done"),
    "link-lost": Sound((Note(0, 0.160, 0.040), Note(-4, 0.160, 0.040), Note(-7, 0.220)), "a sensor went silent"),
    "link-back": Sound((Note(-7, 0.130, 0.040), Note(-4, 0.130, 0.040), Note(0, 0.180)), "all sensors are back"),
    "ready": Sound((Note(3, 0.140, 0.020), Note(8, 0.070, 0.020), Note(3, 0.160)), "ready: take your address"),
}
"""Every sound the tool can make, by name."""


def render(name: str, rate_hz: int) -> Samples:
    """The sound as samples.

    Args:
        name: a key of `SOUNDS`; KeyError otherwise.
        rate_hz: samples a second.

    Returns:
        (N,) float32, read-only, peak at `PEAK_DBFS`, zero at both ends.
    """
    raw = np.concatenate([_note(note, rate_hz) for note in SOUNDS[name].notes])
    level = 10.0 ** (PEAK_DBFS / 20.0) / float(np.max(np.abs(raw)))
    out: Samples = (raw * level).astype(np.float32)
    out.flags.writeable = False
    return out


def _note(note: Note, rate_hz: int) -> npt.NDArray[np.float64]:
    """(N,) one ramped note and the silence after it, not yet levelled."""
    count = round(note.length_s * rate_hz)
    phase = 2.0 * np.pi * note.hz * np.arange(count) / rate_hz
    tone = np.sin(phase) + SECOND_HARMONIC * np.sin(2.0 * phase)
    return np.concatenate([tone * _envelope(count, rate_hz), np.zeros(round(note.gap_s * rate_hz))])


def _envelope(count: int, rate_hz: int) -> npt.NDArray[np.float64]:
    """(count,) ones with a raised-cosine ramp at both ends, exactly zero on the first and last sample."""
    ramp = rise(round(RAMP_S * rate_hz))
    out = np.ones(count)
    out[: ramp.size] = ramp
    out[count - ramp.size :] = ramp[::-1]
    return out


def rise(count: int) -> npt.NDArray[np.float64]:
    """(count,) raised cosine from 0 to 1, both ends included."""
    return 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / max(count - 1, 1))
