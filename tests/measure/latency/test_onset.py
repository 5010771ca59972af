"""A sound is found where it is, and nowhere else."""

from __future__ import annotations

import numpy as np
import pytest

from imufeedback.cues.waveforms import SOUNDS, render
from imufeedback.measure.latency.onset import find, rise

RATE_HZ = 48_000
STALLED = render("stalled", RATE_HZ)


def placed(at: int, sound: np.ndarray = STALLED, noise: float = 0.0) -> np.ndarray:
    out = np.random.default_rng(1).normal(0.0, noise, RATE_HZ).astype(np.float32)
    out[at : at + sound.size] += sound
    return out


@pytest.mark.parametrize("noise", [0.0, 0.01])
@pytest.mark.parametrize("at", [0, 1, 4800, 20_001])
def test_found_to_the_sample(at, noise):
    assert find(placed(at, noise=noise), STALLED, RATE_HZ) == pytest.approx(at + rise(STALLED), abs=2)


def test_the_first_of_two_like_notes_counts():
    """Its two notes are alike; were the second one found, the delay would read 220 ms too long."""
    louder = STALLED.copy()
    louder[10_000:] *= 1.3
    assert find(placed(1000, louder), STALLED, RATE_HZ) == 1000 + rise(STALLED)


def test_the_onset_is_early_in_the_ramp():
    for name in SOUNDS:
        assert rise(render(name, RATE_HZ)) < 0.004 * RATE_HZ


def test_silence_noise_and_other_sounds_are_not_it():
    assert find(np.zeros(RATE_HZ, np.float32), STALLED, RATE_HZ) is None
    assert find(np.random.default_rng(2).normal(0, 0.05, RATE_HZ).astype(np.float32), STALLED, RATE_HZ) is None
    assert find(placed(100, render("battery-low", RATE_HZ)), STALLED, RATE_HZ) is None
    assert find(np.zeros(10, np.float32), STALLED, RATE_HZ) is None


def test_h96_a_delay_that_nobody_reports_is_found():
    """250 ms of an output between what was handed over and what is heard."""
    at = round(0.250 * RATE_HZ)
    found = find(placed(at, 0.3 * STALLED, noise=0.002), STALLED, RATE_HZ)
    assert found is not None
    assert (found - rise(STALLED)) / RATE_HZ == pytest.approx(0.250, abs=0.001)
