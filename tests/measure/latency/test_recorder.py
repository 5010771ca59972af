"""The time of every recorded sample, from when blocks arrived."""

from __future__ import annotations

import numpy as np

from imufeedback.audio.recorder import stamped

RATE_HZ, BLOCK = 48_000, 240
STEP_NS = 5_000_000


def blocks(count: int) -> list[np.ndarray]:
    return [np.full(BLOCK, k, np.float32) for k in range(count)]


def test_late_arrivals_are_put_back():
    rng = np.random.default_rng(1)
    true_ns = 10**12 + STEP_NS * np.arange(400)
    late_ns = rng.exponential(2e6, 400) * (rng.random(400) < 0.5)
    samples, times_ns = stamped(blocks(400), (true_ns + late_ns).astype(int).tolist(), RATE_HZ)
    assert samples.size == times_ns.size == 400 * BLOCK
    error_ms = (times_ns[::BLOCK][:-60] - true_ns[:-60]) * 1e-6
    assert error_ms.min() >= 0.0
    assert error_ms.max() < 0.5


def test_a_pause_of_the_output_moves_everything_after_it_and_nothing_before():
    true_ns = 10**12 + STEP_NS * np.arange(400)
    true_ns[200:] += 130_000_000
    _, times_ns = stamped(blocks(400), true_ns.tolist(), RATE_HZ)
    np.testing.assert_allclose(times_ns[::BLOCK], true_ns, atol=1e3)
    assert (np.diff(times_ns) >= 0).all()


def test_nothing_recorded():
    samples, times_ns = stamped([], [], RATE_HZ)
    assert samples.size == times_ns.size == 0
