"""A frame of the bay window with ten seconds of all traces: reading, updating, painting."""

from __future__ import annotations

import os
import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

os.environ["QT_QPA_PLATFORM"] = "offscreen"

pytestmark = [pytest.mark.bench, pytest.mark.benchmark(group="window", timer=time.process_time)]
ROUNDS = 150


def test_frame_of_the_bay_window(benchmark: BenchmarkFixture) -> None:
    from imufeedback.measure.windows import frames

    with frames.open_bay(clock := frames.StepClock()) as (app, window, feeder):
        window._frames.stop()
        feeder.give(2 * frames.REP_EVERY_S)

        def more() -> None:
            feeder.give(0.035)
            clock.now_s += frames.FRAME_S

        def frame() -> None:
            window._hear()
            window.draw_now()
            app.processEvents()

        benchmark.pedantic(frame, setup=more, rounds=ROUNDS, warmup_rounds=20)
        assert window.frame_stats.count > 0
