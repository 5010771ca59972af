"""What the window says is true: a lost sensor, no sound, no recording, a session that is over."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from bay_events import angles, grid, rep
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog
from pytestqt.qtbot import QtBot

from imufeedback.app import words
from imufeedback.app.bay import BayWindow
from imufeedback.app.palette import PanelState
from imufeedback.commands import AnyCommand
from imufeedback.phrases import phrase
from imufeedback.records import Event, Fault, Link, LinkState, Segment

MakeBay = Callable[..., BayWindow]
ROLES = {"A1": Segment.PELVIS, "B2": Segment.LEFT_THIGH, "C3": Segment.RIGHT_THIGH}


def show(window: BayWindow, *events: Event) -> None:
    window.feed.push(events)
    window._hear()
    window._frame_number = 0
    window._frame()


def linked(state: LinkState, *sensors: str, **facts: float) -> list[Event]:
    return [Link(one, 1.0, state, "", facts) for one in sensors]


@pytest.mark.parametrize("state", [LinkState.SILENT, LinkState.LOST, LinkState.CLOSED])
@pytest.mark.parametrize("sensor", list(ROLES))
def test_a_lost_sensor_is_the_headline_by_its_name_though_angles_come(
    make_bay: MakeBay, sensor: str, state: LinkState
) -> None:
    window = make_bay(roles=ROLES)
    block = window.view.panel.state
    show(window, *linked(LinkState.STREAMING, *ROLES), angles(grid(0, 1)), rep(0))
    assert block.headline is not None
    show(window, *linked(state, sensor))
    assert block.shown is PanelState.NO_SIGNAL
    assert block.headline is None
    assert words.segment_word(ROLES[sensor]).capitalize() in block.hint.text()
    show(window, *linked(LinkState.STREAMING, sensor))
    assert block.headline is not None


def test_without_an_output_nothing_says_that_sound_is_on(make_bay: MakeBay, qtbot: QtBot) -> None:
    trouble = ["no sound output was found"]
    window = make_bay(sound_trouble=lambda: trouble[0])
    show(window, angles(grid(0, 1)))
    show(window)
    assert window.view.sound.text() == "No sound: no sound output was found"
    assert "No tone can be heard" in window.view.panel.state.hint.text()
    trouble[0] = ""
    show(window)
    show(window)
    assert window.view.sound.text().startswith("Sound on")
    assert window.view.panel.state.hint.text() == words.state_hint(PanelState.WAITING)


def test_a_recording_that_failed_and_an_empty_battery_are_named_worst_first(make_bay: MakeBay) -> None:
    window = make_bay(roles=ROLES)
    hint = window.view.panel.state.hint
    show(window, angles(grid(0, 1)), *linked(LinkState.STREAMING, *ROLES, battery_percent=8.0))
    assert "battery 8 %" in hint.text()
    show(window, Fault(1.0, "recording", "the disk is full"))
    assert hint.text() == words.not_recorded_and_help("the disk is full")
    assert window.view.recording.text() == phrase("not_recorded", why="the disk is full")
    show(window, *linked(LinkState.LOST, "B2"))
    assert hint.text().startswith("Left thigh sensor lost")


def test_after_the_end_nothing_can_be_said_that_would_not_be_kept(make_bay: MakeBay, qtbot: QtBot) -> None:
    asked: list[AnyCommand] = []
    window = make_bay(on_command=asked.append)
    show(window, angles(grid(60, 64)), rep(0))
    qtbot.keyClick(window, Qt.Key.Key_N)
    dialog = window.findChild(QDialog)
    assert dialog is not None
    with qtbot.waitSignal(window.ended, timeout=1000):
        window.feed.finish()
        show(window)
    dialog.text.setText("too late")  # type: ignore[attr-defined]
    qtbot.keyClick(dialog.text, Qt.Key.Key_Return)  # type: ignore[attr-defined]
    assert window.view.messages.text.text() == phrase("all_over")
    for key in (Qt.Key.Key_G, Qt.Key.Key_D, Qt.Key.Key_N, Qt.Key.Key_P, Qt.Key.Key_L):
        qtbot.keyClick(window, key)
    assert asked == []
    last = window.view.book.last
    assert last is not None
    assert (last.good, last.note, last.discarded) == (False, "", False)
