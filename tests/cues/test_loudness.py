"""Equally loud by ITU-R BS.1770, as another library measures it."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.cues.loudness import RATE_HZ, loudness_lufs
from imufeedback.cues.mixer import Mixer
from imufeedback.cues.tone import SPAN_SEMITONES, TARGET_SEMITONES
from imufeedback.cues.waveforms import LOUDNESS_LUFS, SOUNDS, render

WITHIN_LU = 1.0


def library_lufs(samples: np.ndarray) -> float:
    pyloudnorm = pytest.importorskip("pyloudnorm", reason="pyloudnorm measures the loudness: install the test extra")
    return float(pyloudnorm.Meter(RATE_HZ).integrated_loudness(samples.astype(float)))


def held(semitones: int) -> np.ndarray:
    """Half a second of the held tone, its ramp left out."""
    mixer = Mixer({}, RATE_HZ, 1.0)
    mixer.hold(semitones, 10**18)
    out = np.zeros(RATE_HZ, np.float32)
    for k in range(0, out.size, 480):
        mixer.fill(out[k : k + 480], 0)
    return out[RATE_HZ // 2 :]


def test_a_sine_at_full_scale_as_the_standard_says():
    """ITU-R BS.1770: 997 Hz at 0 dBFS in one front channel reads -3.01 LKFS."""
    sine = np.sin(2 * np.pi * 997 * np.arange(5 * RATE_HZ) / RATE_HZ)
    assert loudness_lufs(sine) == pytest.approx(-3.01, abs=0.02)
    assert loudness_lufs(np.zeros(100)) == -np.inf


@pytest.mark.parametrize("name", SOUNDS)
def test_our_measure_is_the_librarys(name):
    samples = render(name, RATE_HZ)
    assert loudness_lufs(samples) == pytest.approx(library_lufs(samples), abs=0.1)


def test_all_sounds_are_equally_loud_within_1_lu():
    once = {name: library_lufs(render(name, RATE_HZ)) for name in SOUNDS}
    again_and_again = {name: library_lufs(np.tile(render(name, RATE_HZ), 10)) for name in SOUNDS}
    for found in (once, again_and_again):
        assert max(found.values()) - min(found.values()) <= WITHIN_LU, found


@pytest.mark.parametrize("semitones", [TARGET_SEMITONES - SPAN_SEMITONES, -3, TARGET_SEMITONES])
def test_the_held_tone_is_as_loud_at_every_pitch(semitones):
    assert library_lufs(held(semitones)) == pytest.approx(LOUDNESS_LUFS, abs=WITHIN_LU)
