"""The table of cost against sensors, rate, length and library; the same measurement as ``validate --speed``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from imufeedback.measure import scaling


def text(curves: Sequence[scaling.CostCurve]) -> str:
    """A table to read on a terminal."""
    out = []
    for one in curves:
        each, fixed = one.line
        out.append(f"cost against {one.what}, {one.cost_unit}")
        out += [f"  {size:8g} {one.unit:8} {cost:10.4g}" for size, cost in zip(one.sizes, one.costs, strict=True)]
        out.append(f"  exponent {one.exponent:.2f}; {each:.3g} each + {fixed:.3g}, r² {one.r2:.3f}")
    return "\n".join(out)


@pytest.mark.bench
def test_cost_against_size(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    curves = (
        scaling.sensors(tmp_path, 1),
        scaling.rates(tmp_path, 1),
        scaling.lengths(tmp_path, 1, (1, 2, 4)),
        scaling.library(tmp_path, 1, (10, 30, 100)),
    )
    with capsys.disabled():
        print(f"\n{text(curves)}")  # noqa: T201 - a measurement is there to be read
    assert all(cost > 0 for one in curves for cost in one.costs)
