"""What the set `main` asks of the demo, the demo can do."""

from __future__ import annotations

from pathlib import Path

from imufeedback.cli.demo import FLAWS
from imufeedback.measure.checks import Context
from imufeedback.measure.sets.main import THIGH_FLAWS, flaws


def test_only_flaws_that_the_demo_offers_are_asked_for() -> None:
    assert {one.value for one in THIGH_FLAWS} <= set(FLAWS)


def test_the_lines_of_a_flaw_hold(tmp_path: Path) -> None:
    """The first flaw's lines; they come one after the other."""
    lines = flaws(Context(tmp_path, None, quick=True, seed=1))
    assert [next(lines).ok for _ in range(2)] == [True, True]
