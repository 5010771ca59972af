"""The measurements behind ``validate --set windows``: short forms of each, with values that can be."""

from __future__ import annotations

import math

import pytest
from pytestqt.qtbot import QtBot

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.sets import windows
from imufeedback.measure.windows import frames, load


def test_frames_are_measured_with_all_rows(qtbot: QtBot) -> None:
    found = frames.frames(40)
    assert found["rows"] == 4
    assert 0.0 < found["median_ms"] <= found["p99_ms"]


def test_soak_counts_frames_and_references(qtbot: QtBot) -> None:
    found = frames.soak(1.0)
    assert found["frames"] == 30
    assert math.isfinite(found["refs_per_frame"])
    assert found["refs"] > 0


def test_a_falling_count_of_references_fails_the_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def fake(what: str, number: float) -> dict[str, float]:
        return {"growth_mb": 1.0, "refs": 20_000.0, "refs_per_frame": -1.0}

    monkeypatch.setattr(windows, "child", fake)
    context = windows.Context(work=None, data=None)  # type: ignore[arg-type]
    memory, references = windows.soak(context)
    assert memory.ok
    assert not references.ok


def test_a_live_session_is_fed_drawn_and_followed(qtbot: QtBot) -> None:
    """All that is put is recorded and drawn; how quickly depends on what else the machine does."""
    found = load.load(1.5)
    assert found["share"] > 0.0
    assert found["seconds"] >= 1.4
    assert found["packets"] > 3 * 1.5 * 50
    assert found["packets_recorded"] == found["packets"]
    assert found["frames_per_s"] > 0.0


def test_a_session_that_ends_early_is_no_measurement(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*arguments: object, **keywords: object) -> None:
        raise RuntimeError("broken")

    monkeypatch.setitem(load.Practice.__init__.__kwdefaults__, "make_session", broken)
    with pytest.raises(ImuFeedbackError, match="broken"):
        load.load(1.5)


def test_every_step_has_a_title_of_its_own() -> None:
    titles = [step.title for step in windows.STEPS]
    assert len(set(titles)) == len(titles) == 9
