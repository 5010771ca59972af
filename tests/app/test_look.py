"""Light, dark and sunlight: one choice for every screen, taken at once and kept."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from bay_events import angles, finding, grid, rep
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from imufeedback import people
from imufeedback.app import practice_choices
from imufeedback.app.bay import BayWindow
from imufeedback.app.ending import EndPage
from imufeedback.app.look import LookChoice, look
from imufeedback.app.review.window import ReviewWindow
from imufeedback.app.start.page import StartPage
from imufeedback.app.theme import DARK, LIGHT, SUNLIGHT, THEMES
from imufeedback.record.library import Library
from imufeedback.records import Hand

MakeBay = Callable[..., BayWindow]
BRIGHT = 140


def bright(widget: QWidget) -> float:
    """Share of bright pixels."""
    picture = widget.grab().toImage()
    grey = np.array([picture.pixelColor(x, y).lightness() for x in range(0, 1000, 9) for y in range(0, 600, 7)])
    return float(np.mean(grey > BRIGHT))


def check(widget: QWidget) -> None:
    """What is open changes at once, whatever was in it already."""
    for theme in (DARK, SUNLIGHT, LIGHT):
        look.following()
        assert look.theme is theme
        share = bright(widget)
        assert (share < 0.3) if theme is DARK else (share > 0.75), (theme.name, share)


def test_the_start_screen(qtbot: QtBot, tmp_path: Path) -> None:
    page = StartPage(people.load(tmp_path), practice_choices.available())
    qtbot.addWidget(page)
    page.resize(1000, 600)
    page.show()
    check(page)


def test_the_bay_with_a_rep_and_its_findings(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    window.resize(1000, 600)
    window.feed.push([angles(grid(60, 64)), rep(0), finding(0)])
    window._hear()
    window._frame()
    check(window)
    qtbot.keyClick(window, Qt.Key.Key_F4)
    assert look.theme is DARK
    look.show(LIGHT.name)
    window.range_action.trigger()
    window._frame()
    check(window)


def test_the_end_and_the_review(qtbot: QtBot, tmp_path: Path) -> None:
    page = EndPage(Hand.RIGHT)
    qtbot.addWidget(page)
    page.resize(1000, 600)
    page.show_session("Robin", [], None, 0.0, None)
    page.show()
    check(page)
    with Library(tmp_path) as library:
        window = ReviewWindow(library)
        qtbot.addWidget(window)
        window.resize(1000, 600)
        window.show()
        check(window)
        window.close()


@pytest.mark.parametrize("theme", THEMES, ids=lambda theme: theme.name)
def test_it_is_there_at_the_next_start(theme: object, qtbot: QtBot) -> None:
    look.show(theme.name)  # type: ignore[attr-defined]
    following = LookChoice()
    following.begin()
    assert following.theme is theme
