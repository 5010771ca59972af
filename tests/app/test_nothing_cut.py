"""Every screen at every size of text: nothing is cut, everything has a name and can be hit and reached."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from bay_events import HandClock, angles, finding, grid, rep
from cut import cut, nameless, small, unreachable
from PySide6.QtWidgets import QApplication, QDialog, QScrollArea, QWidget
from pytestqt.qtbot import QtBot

from imufeedback import people, resources
from imufeedback.app import practice_choices
from imufeedback.app.bay import BayWindow
from imufeedback.app.dialogs import AskStop, NoteDialog
from imufeedback.app.ending import EndPage
from imufeedback.app.feed import EventFeed
from imufeedback.app.key_list import KeyList
from imufeedback.app.keys import Screen
from imufeedback.app.labels import scale_of
from imufeedback.app.limits_dialog import LimitsDialog
from imufeedback.app.live_window import LiveWindow
from imufeedback.app.scrolling import Pages
from imufeedback.app.start.readiness import StartStep
from imufeedback.app.text_size import text_size
from imufeedback.app.tracks import RepEntry
from imufeedback.packets import parse_layout
from imufeedback.people import Person
from imufeedback.records import Event, Fault, Hand, Level, Link, LinkState, Segment

ROLES = {"A1": Segment.PELVIS, "B2": Segment.LEFT_THIGH, "C3": Segment.RIGHT_THIGH}
SIZES = [(1024, 600, 1.0), (1024, 600, 2.0), (1280, 720, 1.0), (1280, 720, 2.5), (3840, 2160, 1.0)]
RULES = resources.text("rules", "swing")


def bay(tmp_path: Path, *news: Event) -> BayWindow:
    window = BayWindow(
        EventFeed(Hand.RIGHT, clock=HandClock()), on_stop=lambda: None, roles=ROLES, rule_set=RULES,
        recording=str(tmp_path / "a player's session of the first of May.mcap"),
    )  # fmt: skip
    window.acknowledge()
    window.feed.push([Link(one, 0.5, LinkState.STREAMING, "", {"battery_percent": 60.0}) for one in ROLES])
    window.feed.push([angles(grid(0, 1)), rep(0), finding(0), *news])
    window._hear()
    return window


def live(tmp_path: Path, step: StartStep) -> LiveWindow:
    store = people.load(tmp_path / "players")
    for name in ("Robin", "Kim with a rather long name"):
        store.save(Person(name, Hand.LEFT, cautions_seen=None))
    layout = parse_layout(resources.text("layouts", "house"), "house")
    window = LiveWindow(store, practice_choices.available(), layout, lambda *_: None, tmp_path)  # type: ignore[arg-type, return-value]
    ready = window.start.ready
    ready.person = store.all[0]
    if step in (StartStep.SENSORS, StartStep.CALIBRATION):
        ready.roles, ready.links = dict(ROLES), dict.fromkeys(ROLES, LinkState.CONNECTED)
        ready.search_trouble = "no Bluetooth adapter was found: plug one in, or switch it on in the system's settings"
    if step is StartStep.CALIBRATION:
        ready.running, ready.fit_refused = True, "the trail thigh moved less than it takes: lift the knee higher"
    if step is StartStep.WORK:
        ready.virtual, ready.fit_level = True, Level.GOOD
    window.start.show_step(step)
    return window


def form(tmp_path: Path) -> LiveWindow:
    window = live(tmp_path, StartStep.PLAYER)
    window.start.player.add()
    return window


def range_view(tmp_path: Path) -> BayWindow:
    window = bay(tmp_path)
    window._toggle_range()
    return window


def ending(tmp_path: Path) -> LiveWindow:
    window = live(tmp_path, StartStep.PLAYER)
    page = window.end = EndPage(Hand.RIGHT)
    page.show_session("Robin", [RepEntry(rep(index), None) for index in range(7)], None, 2.0, tmp_path / "one.mcap")
    window.pages.addWidget(page)
    window.pages.setCurrentWidget(page)
    return window


def cautions(tmp_path: Path) -> BayWindow:
    return BayWindow(EventFeed(Hand.RIGHT, clock=HandClock()), on_stop=lambda: None)


SCREENS: dict[str, Callable[[Path], QWidget]] = {
    "cautions": cautions,
    "bay": bay,
    "bay with a fault": lambda path: bay(path, Fault(1.0, "recording", "the disk is full: make room on it")),
    "range": range_view,
    "end": ending,
    "player form": form,
    **{f"start, {step}": (lambda path, step=step: live(path, step)) for step in StartStep},
}  # fmt: skip
DIALOGS: dict[str, Callable[[BayWindow, float], QDialog]] = {
    "keys": lambda window, scale: KeyList(window, scale, Screen.BAY),
    "note": lambda window, scale: NoteDialog(window, scale, 3),
    "stop": AskStop,
    "limits": lambda window, scale: LimitsDialog(
        window, scale, window.coach.limits, "Robin", reps=[{"trail_thigh_flat_turn_deg": one} for one in (3.0, 9.0)]
    ),
}


def show(qtbot: QtBot, window: QWidget, size: tuple[int, int, float]) -> None:
    qtbot.addWidget(window, before_close_func=_stop)
    text_size.show(size[2])
    window.resize(*size[:2])
    window.show()
    if isinstance(window, BayWindow):
        window._frame_number = 0
        window._frame()
    for _ in range(4):
        QApplication.processEvents()
    window.grab()


def _stop(window: QWidget) -> None:
    if isinstance(window, BayWindow):
        window._gone = True


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}×{size[1]} at {size[2]:.0%}")
@pytest.mark.parametrize("name", SCREENS)
def test_no_screen_cuts_a_text(qtbot: QtBot, tmp_path: Path, name: str, size: tuple[int, int, float]) -> None:
    window = SCREENS[name](tmp_path)
    show(qtbot, window, size)
    assert (window.width(), window.height()) == size[:2]
    assert cut(window) == []
    if size[2] == 1.0:
        assert not scrolls(window), "at the plain size everything is in view"


def scrolls(window: QWidget) -> bool:
    """Whether a part of the screen is out of view."""
    areas = [one for one in window.findChildren(QScrollArea) if one.isVisible() and isinstance(one.widget(), Pages)]
    assert areas
    return any(bar.maximum() > 0 for one in areas for bar in (one.verticalScrollBar(), one.horizontalScrollBar()))


@pytest.mark.parametrize("name", SCREENS)
def test_every_field_has_a_name_is_large_enough_and_is_reached_by_tab(qtbot: QtBot, tmp_path: Path, name: str) -> None:
    window = SCREENS[name](tmp_path)
    show(qtbot, window, (1024, 600, 1.0))
    assert nameless(window) == []
    assert small(window) == []
    assert unreachable(window) == []


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}×{size[1]} at {size[2]:.0%}")
@pytest.mark.parametrize("name", DIALOGS)
def test_no_dialog_cuts_a_text_or_leaves_the_screen(
    qtbot: QtBot, tmp_path: Path, name: str, size: tuple[int, int, float]
) -> None:
    window = bay(tmp_path)
    show(qtbot, window, size)
    dialog = DIALOGS[name](window, scale_of(window))
    dialog.open()
    for _ in range(3):
        QApplication.processEvents()
    assert cut(dialog) == []
    assert nameless(dialog) == []
    assert small(dialog) == []
    assert dialog.width() <= size[0]
    assert dialog.height() <= size[1]
    dialog.close()
