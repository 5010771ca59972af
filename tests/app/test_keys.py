"""The table of keys: nothing on a screen answers to a key that is not in it, and the list on F1 shows all of it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable

import pytest
from keys_of import answered, told
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractButton
from pytestqt.qtbot import QtBot

from imufeedback.app import keys
from imufeedback.app.bay import BayWindow
from imufeedback.app.ending import EndPage
from imufeedback.app.key_list import KeyList
from imufeedback.app.keys import Screen
from imufeedback.app.practice_choices import Works
from imufeedback.app.start.page import StartPage
from imufeedback.people import People
from imufeedback.phrases import phrase
from imufeedback.records import Hand

MakeBay = Callable[..., BayWindow]


def named(texts: Iterable[str]) -> set[str]:
    """Keys that texts name in brackets."""
    return {one for text in texts for one in re.findall(r"\((Ctrl\+\w+|Alt\+\w+|F\d+|Esc|Enter|Space|[A-Z])\)", text)}


def test_every_key_of_the_bay_window_is_in_the_table(make_bay: MakeBay) -> None:
    window = make_bay(on_preview=lambda sound: None)
    window.second.setParent(None)
    assert answered(window) == told(Screen.BAY, Screen.ANYWHERE)
    assert answered(window.second) == told(Screen.RANGE)


def test_every_key_of_the_first_screen_is_in_the_table(qtbot: QtBot, tmp_path) -> None:
    page = StartPage(People(tmp_path), Works())
    qtbot.addWidget(page)
    own = {"Return", "Enter", "Esc"}  # of the list of players, and of the window around it
    mnemonics = {one for one in answered(page) if re.fullmatch(r"Alt\+[A-Z]", one)}
    assert answered(page) - mnemonics == told(Screen.START) - own
    for text in {one.text() for one in page.findChildren(QAbstractButton)}:
        assert named([text]) <= told(Screen.START) | {"Enter"}, text


def test_every_key_of_the_last_screen_presses_its_button(qtbot: QtBot) -> None:
    page = EndPage(Hand.RIGHT)
    qtbot.addWidget(page)
    assert answered(page) == told(Screen.ANYWHERE)
    pressed: list[str] = []
    for name, button in {"again": page.again, "next": page.next, "close": page.close_button}.items():
        button.clicked.connect(lambda _=False, name=name: pressed.append(name))
    for key in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_N, Qt.Key.Key_Escape):
        qtbot.keyClick(page, key)
    assert pressed == ["again", "again", "next", "close"]
    assert named(one.text() for one in page.findChildren(QAbstractButton)) <= {one.told for one in keys.TABLE}


def test_no_key_does_two_things_on_one_screen() -> None:
    for screen in set(Screen) - {Screen.ANYWHERE, Screen.RANGE}:
        spelt = [one for row in (*keys.on(screen), *keys.on(Screen.ANYWHERE)) for one in row.keys]
        assert len(spelt) == len(set(spelt)), screen


def test_f1_lists_every_key_this_screen_first_and_escape_closes_it(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    qtbot.keyClick(window, Qt.Key.Key_F1)
    found = window.findChild(KeyList)
    assert found is not None
    assert list(found.rows)[: len(keys.on(Screen.BAY))] == [(Screen.BAY, one.name) for one in keys.on(Screen.BAY)]
    assert set(found.rows) == {(one.screen, one.name) for one in keys.TABLE}
    assert found.rows[Screen.BAY, "pause"].accessibleName() == "P: Pause"
    qtbot.keyClick(found, Qt.Key.Key_Escape)
    assert not found.isVisible()
    assert not window._stop.begun


@pytest.mark.parametrize(("first", "then"), [("Ctrl++", 1.25), ("Ctrl+-", 1.0)])
def test_text_size_by_key_reaches_texts_menus_and_the_list(
    make_bay: MakeBay, qtbot: QtBot, first: str, then: float
) -> None:
    window = make_bay()
    window.resize(1280, 720)
    plain = {one: one.font().pixelSize() for one in (window.view.key, window.menuBar(), window.view.sound)}
    action = next(one for one in window.actions() if first in [key.toString() for key in one.shortcuts()])
    action.trigger()
    for widget, before in plain.items():
        assert widget.font().pixelSize() == round(before * then)
    next(one for one in window.actions() if one.text() == phrase("plain_action")).trigger()
    assert window.view.key.font().pixelSize() == plain[window.view.key]
