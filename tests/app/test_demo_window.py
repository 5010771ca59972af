"""The demo in a window ends in the summary, too."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

from bay_events import angles, finding, grid, rep
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from imufeedback.app.bay import BayWindow
from imufeedback.app.demo_window import show_end
from imufeedback.app.ending import EndPage


def test_the_summary_takes_the_place_of_the_traces(
    make_bay: Callable[..., BayWindow], qtbot: QtBot, tmp_path: Path
) -> None:
    window = make_bay()
    window.feed.push([angles(grid(60, 64)), rep(0), finding(0), rep(1)])
    window._hear()
    window.feed.finish()
    show_end(window, SimpleNamespace(recording=tmp_path / "demo.mcap"))  # type: ignore[arg-type]
    page = window.pages.currentWidget()
    assert isinstance(page, EndPage)
    assert "1 of 2 reps" in page.result.text()
    assert not page.again.isVisible()
    qtbot.keyClick(page, Qt.Key.Key_N)
    qtbot.keyClick(page, Qt.Key.Key_Return)
    assert window.isVisible()
    qtbot.keyClick(page, Qt.Key.Key_Escape)
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
