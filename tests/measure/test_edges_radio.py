"""Own sensors among other people's, through the station and a session into a recording."""

from __future__ import annotations

from pathlib import Path

from imufeedback.measure.checks import Context
from imufeedback.measure.edges.radio import STEPS


def test_every_line_about_other_peoples_sensors_holds(tmp_path: Path) -> None:
    lines = [line for step in STEPS for line in step.measure(Context(tmp_path, None, quick=True, seed=5))]
    assert len(lines) == 10
    assert [line.check for line in lines if not line.ok] == []
