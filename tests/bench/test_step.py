"""What a step of 5 ms costs, beside VQF alone on the same samples. Run with ``-m bench -s``.

The same measurement as the line of ``validate --set accuracy``. Figures of a shared machine scatter: the best of some
runs is told, and what is asserted is only that it was measured.
"""

from __future__ import annotations

import pytest

from imufeedback.measure import players, speed
from imufeedback.synth.player import Pace

RUNS = 5


@pytest.mark.bench
@pytest.mark.parametrize("pace", Pace)
def test_from_samples_to_angles_per_step(pace: Pace, capsys: pytest.CaptureFixture[str]) -> None:
    session = players.script(1, reps=2, pace=pace)
    given = speed.prepared(session)
    costs = [speed.cost(given, session) for _ in range(RUNS)]
    best = min(costs, key=lambda one: one.fusion_and_body)
    library = min(one.vqf for one in costs)
    with capsys.disabled():
        print(  # noqa: T201 - a measurement is there to be read
            f"\n{pace} pace, {given.steps} steps, three sensors, best of {RUNS}: {best.fusion_and_body:.1f} µs a step "
            f"(fusion {best.fusion:.1f}, body {best.body:.1f}; merge {best.merge:.1f} beside it); "
            f"VQF alone {library:.1f} µs; ratio {best.fusion_and_body / library:.1f}; to reach: at most 60 µs"
        )
    assert 0 < library < best.fusion_and_body
