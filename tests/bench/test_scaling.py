"""The table of cost against sensors, rate, length and library; the same measurement as ``validate --speed``."""

from __future__ import annotations

from pathlib import Path

import pytest

from imufeedback.validate import scaling


@pytest.mark.bench
def test_cost_against_size(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    curves = (
        scaling.sensors(tmp_path, 1),
        scaling.rates(tmp_path, 1),
        scaling.lengths(tmp_path, 1, (1, 2, 4)),
        scaling.library(tmp_path, 1, (10, 30, 100)),
    )
    with capsys.disabled():
        print(f"\n{scaling.text(curves)}")  # noqa: T201 - a measurement is there to be read
    assert all(cost > 0 for one in curves for cost in one.costs)
