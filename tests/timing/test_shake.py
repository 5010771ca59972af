"""One shake of all sensors in one hand tells their constant delays."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from imufeedback.timing.shake import NoShake, offsets_s

HZ = 200.0


def shaken(delay_s: float, seed: int, *, gain: float = 5.0, seconds: float = 5.0) -> tuple[np.ndarray, np.ndarray]:
    """A shake as a sensor sees it that sits any way up and tells everything so much later."""
    rng = np.random.default_rng(seed)
    t_s = np.arange(0.0, seconds, 1 / HZ) + rng.uniform(0, 1 / HZ)
    now = t_s - delay_s
    rate = np.column_stack([np.sin(2 * np.pi * 2.1 * now), 0.6 * np.cos(2 * np.pi * 3.3 * now), 0.3 * np.sin(9 * now)])
    gyr = Rotation.random(rng=rng).apply(gain * rate) + rng.normal(0, 0.02, rate.shape)
    return t_s, gyr


@pytest.mark.parametrize("seed", range(4))
def test_delays_are_found_to_half_a_millisecond(seed: int) -> None:
    delays = np.array([0.0, 0.0062, -0.0113, 0.0021, 0.030])
    found = offsets_s([shaken(delay, seed * 10 + k) for k, delay in enumerate(delays)])
    np.testing.assert_allclose(found, delays - np.median(delays), atol=5e-4)


def test_one_that_lies_on_the_table_is_refused() -> None:
    t_s, gyr = shaken(0.0, 3)
    still = np.random.default_rng(1).normal(0, 0.01, gyr.shape)
    with pytest.raises(NoShake, match="one hand"):
        offsets_s([(t_s, gyr), (t_s, still)])


def test_a_weak_or_short_shake_is_refused() -> None:
    with pytest.raises(NoShake, match="too weak"):
        offsets_s([shaken(0.0, 1, gain=0.2), shaken(0.0, 2, gain=0.2)])
    with pytest.raises(NoShake, match="one second"):
        offsets_s([shaken(0.0, 1, seconds=0.8), shaken(0.0, 2, seconds=0.8)])
