"""Hazards of live display, each by its id; H78, H81, H83, H85 and H86 stand beside what they are about."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from bay_events import HandClock
from PySide6.QtWidgets import QApplication

from imufeedback.app.bay import BayWindow
from imufeedback.measure.windows.frames import Feeder

MakeBay = Callable[..., BayWindow]
HELPERS = Path(__file__).resolve().parents[1] / "helpers"


def frame(window: BayWindow) -> None:
    window._hear()
    window._frame()
    QApplication.processEvents()


def test_h76_what_is_drawn_does_not_grow_with_the_session(make_bay: MakeBay, clock: HandClock) -> None:
    window = make_bay()
    window._frames.stop()
    feeder = Feeder(window.feed)
    feeder.give(30.0)
    frame(window)
    points = len(window.view.plots.rows[0].ago_s)
    rows, marks = window.feed._ring._t.size, len(window.view.plots._times)
    while feeder.now_s < 2700.0:
        feeder.give(30.0)
        window._hear()
    frame(window)
    assert len(window.view.plots.rows[0].ago_s) == pytest.approx(points, rel=0.05)
    assert window.feed._ring._t.size == rows
    assert len(window.view.plots._times) <= marks + 3
    assert window.view.table.reps == 200
    assert len(window.view.book.entries) == 200


def test_h77_slow_painting_skips_frames_and_stays_near_the_data(make_bay: MakeBay, clock: HandClock) -> None:
    paint_s, ages = 0.12, []
    window = make_bay()
    window._frames.stop()
    feeder = Feeder(window.feed)
    drawn = 0.0
    for _ in range(600):  # 12 s, packet by packet
        feeder.give(0.02)
        clock.now_s += 0.02
        if clock.now_s - drawn >= window._frames.interval() / 1e3:
            drawn = clock.now_s
            window._hear()
            window._frame()
            ages.append(window.feed.snapshot(0.0).age_s + paint_s)
            window._painted(paint_s)
    assert window.feed._ring._written == 600 * 4  # every sample is there
    assert max(ages) < 0.3
    assert len(ages) < 12.0 / 0.2  # frames were left out


@pytest.mark.parametrize("times", [25, pytest.param(200, marks=pytest.mark.full)])
def test_h79_windows_opened_and_closed_leave_nothing(times: int) -> None:
    assert float(child("open_and_close.py", str(times))) < 50.0


def test_pin_of_pyside_references_to_none_do_not_run_out() -> None:
    # PySide6 6.12.0 with pyqtgraph 0.14 on Python 3.11 gives away a reference to None with every frame, until the
    # interpreter aborts ("deallocating None"). From 3.12 on None is immortal and the count does not move.
    assert int(child("count_none.py")) > -50


def child(name: str, *arguments: str) -> str:
    """The last word that a helper prints in a process of its own."""
    folders = os.pathsep.join([str(HELPERS), os.environ.get("PYTHONPATH", "")])
    done = subprocess.run(
        [sys.executable, str(HELPERS / name), *arguments],
        env={**os.environ, "PYTHONPATH": folders},
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout.split()[-1]
