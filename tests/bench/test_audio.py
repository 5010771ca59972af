"""The sound device's callback for 10 ms: silent, with a sound, with the held tone."""

from __future__ import annotations

import time

import numpy as np
import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from imufeedback.audio.device import BUFFER_MS, RATE_HZ
from imufeedback.audio.player import rendered
from imufeedback.cues.mixer import Mixer, Request

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(group="10 ms of sound", timer=time.process_time)]
ROUNDS = 1000


@pytest.mark.parametrize("what", ["silent", "sound", "held tone"])
def test_callback(benchmark: BenchmarkFixture, what: str) -> None:
    sounds = rendered()
    mixer = Mixer(sounds, RATE_HZ, 0.3)
    out = np.zeros(RATE_HZ * BUFFER_MS // 1000, np.float32)
    name = next(iter(sounds))

    def ask() -> None:
        if what == "sound" and not mixer.playing:
            mixer.hand_over(Request(name, 1, 0))
        elif what == "held tone":
            mixer.hold(3, 1)

    benchmark.pedantic(mixer.fill, (out, 0), setup=ask, rounds=ROUNDS, warmup_rounds=1)
    assert bool(out.any()) is (what != "silent")
