"""The sounds, checked on their samples."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.cues.waveforms import MEANINGS, SOUNDS, Pitch, render, rise

RATE_HZ = 48_000
HIGHEST_HZ = max(note.hz for sound in SOUNDS.values() for note in sound.notes)
every_sound = pytest.mark.parametrize("name", SOUNDS)


def edges(samples: np.ndarray) -> list[tuple[int, int]]:
    """Start and end of every stretch that sounds: silence is 2 ms of nothing."""
    loud = np.abs(samples) > 1e-6
    near = np.convolve(loud, np.ones(96), "same") > 0
    flips = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(int), [0]])))
    return [(int(a), int(b)) for a, b in zip(flips[::2], flips[1::2], strict=True)]


def test_the_set_is_ours():
    assert set(SOUNDS) == {
        "stalled", "regaining", "target-reached", "rep-counted", "fit-step", "fit-again", "ready", "link-lost",
        "link-back", "battery-low", "block-begun",
    }  # fmt: skip
    assert set(MEANINGS) == {*SOUNDS, "losing"}


@every_sound
def test_h95_long_enough_not_to_be_swallowed_and_without_leading_silence(name):
    samples = render(name, RATE_HZ)
    assert samples.size >= 0.150 * RATE_HZ
    assert samples.size == pytest.approx(SOUNDS[name].length_s * RATE_HZ, abs=len(SOUNDS[name].notes) * 2)
    assert np.abs(samples[: round(0.010 * RATE_HZ)]).max() > 0.5 * np.abs(samples).max(), "sounds within 10 ms"


@every_sound
def test_peak_and_dc(name):
    samples = render(name, RATE_HZ)
    assert samples.dtype == np.float32
    assert 20 * np.log10(np.abs(samples).max()) <= -12.0
    assert 20 * np.log10(np.abs(samples).max()) > -18.0
    assert abs(samples.mean(dtype=np.float64)) < 1e-3


@every_sound
def test_no_clicks(name):
    """No step is larger than the steepest slope of its two partials allows; both ends are zero."""
    samples = render(name, RATE_HZ).astype(float)
    peak = np.abs(samples).max()
    steepest = peak * 2 * np.pi * HIGHEST_HZ / RATE_HZ * (1 + 2 * 0.25)
    assert np.abs(np.diff(samples)).max() <= steepest
    assert samples[0] == 0.0
    assert samples[-1] == 0.0
    # A click is energy far above the partials: above 6 kHz there must be next to nothing.
    power = np.abs(np.fft.rfft(samples)) ** 2
    high = np.fft.rfftfreq(samples.size, 1 / RATE_HZ) > 6000
    assert power[high].sum() / power.sum() < 1e-6


@every_sound
def test_every_note_has_ramps_of_at_least_10_ms(name):
    samples = np.abs(render(name, RATE_HZ).astype(float))
    limit = rise(round(0.010 * RATE_HZ)) * samples.max() * 1.001 + 1e-6
    for start, end in note_bounds(name):
        head, tail = samples[start : start + limit.size], samples[end - limit.size : end][::-1]
        assert (head <= limit).all()
        assert (tail <= limit).all()


def note_bounds(name: str) -> list[tuple[int, int]]:
    at, out = 0, []
    for note in SOUNDS[name].notes:
        count = round(note.length_s * RATE_HZ)
        out.append((at, at + count))
        at += count + round(note.gap_s * RATE_HZ)
    return out


def test_a_cut_note_would_be_seen_as_a_click():
    """The click test can fail: a note cut in the middle has far too much energy above 6 kHz."""
    samples = render("stalled", RATE_HZ)[:2000].astype(float)
    power = np.abs(np.fft.rfft(samples, 1 << 15)) ** 2
    high = np.fft.rfftfreq(1 << 15, 1 / RATE_HZ) > 6000
    assert power[high].sum() / power.sum() > 1e-6


def test_pitches_are_equal_tempered():
    """ISO 16: A4 is 440 Hz. C5, nine semitones below A5, is 523.251 Hz in every published table of pitches."""
    assert Pitch(0, 0.1).hz == 440.0
    assert Pitch(12, 0.1).hz == pytest.approx(880.0)
    assert Pitch(3, 0.1).hz == pytest.approx(523.251, abs=1e-3)
    assert Pitch(-9, 0.1).hz == pytest.approx(261.626, abs=1e-3)


@every_sound
def test_the_pitch_is_in_the_samples(name):
    samples = render(name, RATE_HZ).astype(float)
    for note, (start, end) in zip(SOUNDS[name].notes, note_bounds(name), strict=True):
        spectrum = np.abs(np.fft.rfft(samples[start:end], 1 << 17))
        assert np.argmax(spectrum) * RATE_HZ / (1 << 17) == pytest.approx(note.hz, rel=0.01)


def test_told_apart_by_contour_or_rhythm():
    """No two sounds share both: steps up or down from note to note, and which notes are long (over 100 ms)."""
    shapes = {}
    for name, sound in SOUNDS.items():
        pitches = [note.semitones for note in sound.notes]
        contour = tuple(np.sign(np.diff(pitches)).tolist())
        shapes[name] = contour, tuple(note.length_s > 0.1 for note in sound.notes)
    assert len(set(shapes.values())) == len(shapes)


def test_unknown_sound():
    with pytest.raises(KeyError):
        render("fanfare", RATE_HZ)


def test_samples_cannot_be_changed():
    with pytest.raises(ValueError):
        render("ready", RATE_HZ)[0] = 1.0
