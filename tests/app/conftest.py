"""Windows without a screen: Qt's own off-screen platform, chosen before Qt is imported."""

from __future__ import annotations

import gc
import os

os.environ["QT_QPA_PLATFORM"] = "offscreen"

from collections.abc import Callable, Iterator

import pytest
from bay_events import HandClock
from PySide6.QtCore import QEvent, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget
from pytestqt.qtbot import QtBot

from imufeedback.app import preload
from imufeedback.app.bay import BayWindow
from imufeedback.app.feed import EventFeed
from imufeedback.app.look import look
from imufeedback.app.text_size import text_size
from imufeedback.records import Hand


@pytest.fixture(autouse=True)
def no_window_is_left_to_other_threads() -> Iterator[None]:
    """The collector runs in whatever thread it is due in. What is left of windows must go here, in the thread that made
    them: destroyed by the loop of another test's cluster they crash the process later."""
    yield
    gc.collect()


@pytest.fixture(autouse=True)
def no_widget_is_left_open(qapp: QApplication) -> Iterator[None]:
    """A window that stays is drawn, fed and ticked during the tests that follow."""
    before = set(map(id, qapp.topLevelWidgets()))
    yield
    qapp.sendPostedEvents(None, QEvent.Type.DeferredDelete)
    left = [one for one in qapp.topLevelWidgets() if id(one) not in before and one.isVisible()]
    names = [f"{type(one).__name__} {one.windowTitle()!r}" for one in left]
    for one in left:
        one.close()
    assert not names, f"windows left open: {names}"


@pytest.fixture(autouse=True, scope="session")
def nothing_is_imported_beside() -> None:
    """Tests import what they need themselves; no thread does it while they run."""
    preload.done.set()


@pytest.fixture(autouse=True)
def plain_text(
    qapp: QApplication, monkeypatch: pytest.MonkeyPatch, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """Whatever look and size of text somebody chose on this machine: tests see the plain ones, and keep theirs away."""
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path_factory.mktemp("home")))
    text_size._factor = None
    look.begin()
    yield
    text_size._factor = None
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path_factory.mktemp("home")))
    look.begin()


@pytest.fixture(autouse=True)
def no_key_is_left_held(qapp: QApplication) -> Iterator[None]:
    """Qt keeps the modifiers of the last key event; a Shift left so makes the next test's selections extend."""
    yield
    if QApplication.keyboardModifiers() != Qt.KeyboardModifier.NoModifier:
        QTest.keyClick(QWidget(), Qt.Key.Key_Shift)
    assert QApplication.keyboardModifiers() == Qt.KeyboardModifier.NoModifier


@pytest.fixture
def clock() -> HandClock:
    return HandClock()


@pytest.fixture
def make_bay(qtbot: QtBot, clock: HandClock) -> Callable[..., BayWindow]:
    """A shown bay window past its cautions, with a feed on the hand clock; keywords go to the window."""

    def make(hand: Hand = Hand.RIGHT, *, begin: bool = True, **keywords: object) -> BayWindow:
        window = BayWindow(EventFeed(hand, clock=clock), **{"on_stop": lambda: None} | keywords)
        qtbot.addWidget(window, before_close_func=_stop)
        with qtbot.waitActive(window):  # keys only reach an active window
            window.show()
            window.activateWindow()
        if begin:
            window.acknowledge()
        return window

    return make


def _stop(window: BayWindow) -> None:
    """So that closing after the test is not put off."""
    window.stop_now()
    window._leave_when_stopped() if window._stop.begun and not window._gone else None
