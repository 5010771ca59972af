"""The window as a coach meets it: cautions first, live state and angle, keys, and an ordered end."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from bay_events import HandClock, angles, finding, grid, hip, of_hips, rep, state, texts
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QMessageBox
from pytestqt.qtbot import QtBot

from imufeedback.app import numerals, words
from imufeedback.app.bay import BayWindow
from imufeedback.app.palette import PanelState
from imufeedback.constants import CAUTIONS
from imufeedback.phrases import phrase
from imufeedback.records import (
    ClockRestarted,
    Cue,
    Doubted,
    Event,
    Fault,
    Fit,
    FitRefused,
    Fitted,
    Hand,
    Level,
    Link,
    LinkState,
    Motion,
    Notice,
    Phase,
    PhaseChanged,
    Segment,
    SegmentFit,
    Side,
    Zeroed,
)

MakeBay = Callable[..., BayWindow]


def show(window: BayWindow, *events: Event) -> None:
    """Push events and let one frame pass, without waiting for timers."""
    window.feed.push(events)
    window._hear()
    window._frame_number = 0
    window._frame()


def number(window: BayWindow) -> str:
    return window.view.panel.angle.number.text()


def shown(window: BayWindow) -> PanelState:
    return window.view.panel.state.shown


# ── cautions ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("key", [Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space])
def test_cautions_come_first_and_a_key_begins_once(make_bay: MakeBay, qtbot: QtBot, key: Qt.Key) -> None:
    begun: list[int] = []
    muted: list[bool] = []
    window = make_bay(begin=False, on_begin=lambda: begun.append(1), on_mute=muted.append)
    assert [line.text() for line in window.cautions.lines] == list(CAUTIONS)
    assert window.pages.currentWidget() is window.cautions
    qtbot.keyClick(window.cautions, key)
    window.acknowledge()
    assert window.pages.currentWidget() is window.view
    assert (begun, muted) == ([1], [])


def test_cautions_stay_in_reach(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    qtbot.keyClick(window, Qt.Key.Key_F1, Qt.KeyboardModifier.ShiftModifier)
    dialog = window.findChild(QDialog)
    assert dialog is not None
    assert dialog.isVisible()
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert not dialog.isVisible()
    assert not window._stop.begun


def test_cautions_fit_on_the_smallest_window(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay(begin=False)
    window.resize(window.minimumSize())
    qtbot.waitUntil(lambda: window.height() == window.minimumHeight(), timeout=1000)
    window.grab()
    for line in window.cautions.lines:
        assert line.height() >= line.heightForWidth(line.width())
    assert window.cautions.rect().contains(
        window.cautions.button.mapTo(window.cautions, window.cautions.button.rect().bottomRight())
    )


# ── live ─────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_before_any_data_the_window_says_what_it_waits_for(make_bay: MakeBay) -> None:
    window = make_bay()
    show(window)
    assert shown(window) is PanelState.NO_SENSORS
    assert number(window) == numerals.UNKNOWN
    assert window.view.plots.rows[0].nothing == phrase("waiting_for_sensors")
    show(window, Link("A1", 0.1, LinkState.STREAMING, "", {}))
    assert shown(window) is PanelState.CALIBRATION


@pytest.mark.parametrize(("hand", "text"), [(Hand.RIGHT, "20°"), (Hand.LEFT, "−10°")])
def test_number_is_the_newest_trail_thigh_angle(make_bay: MakeBay, hand: Hand, text: str) -> None:
    window = make_bay(hand)
    show(window, angles(grid(0, 1), right_deg=(20.4, 5.0), left_deg=(-9.8, 0.0)))
    assert number(window) == text
    assert window.view.panel.angle.spread.text() == "± 2.0°"


@pytest.mark.parametrize("motion", list(Motion))
def test_live_state_in_word_sign_and_colour(make_bay: MakeBay, motion: Motion) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)), PhaseChanged(0.9, Phase.DOWNSWING), state(motion))
    block = window.view.panel.state
    assert block.shown is PanelState.of(motion)
    assert block.word.text() == ("waiting" if motion is Motion.IDLE else motion.value)
    assert block.phase.text() == "downswing"


@pytest.mark.parametrize(("pause_s", "fresh"), [(0.4, True), (0.6, False)])
def test_a_stale_angle_is_never_shown_as_live(make_bay: MakeBay, clock: HandClock, pause_s: float, fresh: bool) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)), state(Motion.FALLING))
    clock.now_s += pause_s
    show(window)
    assert number(window) == ("20°" if fresh else numerals.UNKNOWN)
    assert shown(window) is (PanelState.FALLING if fresh else PanelState.NO_SIGNAL)


def test_an_angle_that_is_not_ok_is_not_shown(make_bay: MakeBay) -> None:
    window, t_s = make_bay(), grid(1, 1.05)
    show(window, angles(grid(0, 1)))
    show(window, of_hips(t_s, hip(Side.RIGHT, t_s, 33.0, 0.0, False), hip(Side.LEFT, t_s, 1.0, 0.0)))
    assert number(window) == numerals.UNKNOWN
    assert window.view.plots.rows[1].values == [numerals.UNKNOWN, "0°"]


def test_a_state_does_not_outlive_its_downswing(make_bay: MakeBay) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)), state(Motion.FALLING), PhaseChanged(1.0, Phase.WAITING))
    assert shown(window) is PanelState.WAITING


def test_after_the_end_the_picture_stands_still(make_bay: MakeBay, clock: HandClock) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)))
    window.feed.finish()
    clock.now_s += 60.0
    show(window)
    assert shown(window) is PanelState.FINISHED
    assert number(window) == numerals.UNKNOWN
    assert len(window.view.plots.rows[0].ago_s) > 10


def test_reps_and_findings_reach_table_and_traces(make_bay: MakeBay) -> None:
    window = make_bay()
    show(window, angles(grid(60, 64)), rep(0), finding(0), state(Motion.STALLED, 62.9))
    assert texts(window.view.table, 0)[6] == "1 fault"
    assert not window.view.no_reps.isVisible()
    assert [mark.t_s for mark in window.view.plots._times if mark.name == "top_s"] == [62.5]
    assert [mark.state for mark in window.view.plots._states] == [Motion.STALLED]


@pytest.mark.parametrize(
    ("event", "text"),
    [
        (Notice(1.0, "look here"), "look here"),
        (Fitted(1.0, Fit("m", (SegmentFit(Segment.PELVIS, np.zeros(4), Level.FAIR, 0.1, "why"),))), "fair"),
        (FitRefused(1.0, "the pelvis moved"), "the pelvis moved"),
        (Zeroed(1.0, "asked"), "asked"),
        (ClockRestarted("A1", 1.0), "A1"),
        (Fault(1.0, "sound", "the device went away"), "the device went away"),
    ],
)
def test_what_a_person_should_know_is_in_the_message_line(make_bay: MakeBay, event: Event, text: str) -> None:
    window = make_bay()
    show(window, event)
    assert text in window.view.messages.text.text()


def test_a_fault_stays_until_it_is_dismissed(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    messages = window.view.messages
    show(window, Fault(1.0, "sound", "gone"), Notice(2.0, "zeroed"))
    assert messages.text.text() == phrase("fault", where="sound", what="gone")
    assert list(messages.history) == [phrase("fault", where="sound", what="gone"), "zeroed"]
    qtbot.mouseClick(messages.dismiss, Qt.MouseButton.LeftButton)
    assert messages.text.text() == ""


def test_a_notice_leaves_by_itself(make_bay: MakeBay, clock: HandClock) -> None:
    window = make_bay()
    window.view.messages._clock = clock
    show(window, Notice(1.0, "hello"), Notice(1.0, ""))
    assert window.view.messages.text.text() == "hello"
    clock.now_s += 9.0
    show(window)
    assert window.view.messages.text.text() == ""


def test_space_mutes_and_unmutes(make_bay: MakeBay, qtbot: QtBot) -> None:
    muted: list[bool] = []
    window = make_bay(on_mute=muted.append)
    show(window, Cue("stalled", 1.0, 1.2, 1))
    assert window.view.sound.text() == words.sound_line(False, "stalled")
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert window.view.sound.text() == words.sound_line(True, "stalled")
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert muted == [True, False]


def test_recording_and_roles_can_be_told_later(make_bay: MakeBay) -> None:
    window = make_bay()
    assert window.view.recording.text() == words.recording_line(None)
    window.show_recording("/somewhere/rec.mcap")
    window.show_roles({"A1": Segment.PELVIS})
    assert "/somewhere/rec.mcap" in window.view.recording.text()
    assert window.view.sensors.chips["A1"].text.text().startswith("pelvis")


# ── threads and frames ───────────────────────────────────────────────────────────────────────────────────────────


def test_h78_events_of_a_foreign_thread_are_shown_from_the_qt_thread(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    heard_in: set[threading.Thread] = set()
    hear = window.view.hear

    def noting(event: Event) -> None:
        heard_in.add(threading.current_thread())
        hear(event)

    window.view.hear = noting  # type: ignore[method-assign]
    engine = threading.Thread(target=lambda: window.feed.push([angles(grid(0, 1)), rep(0), state(Motion.FALLING)]))
    engine.start()
    engine.join()
    qtbot.waitUntil(lambda: window.view.table.reps == 1 and number(window) == "20°", timeout=3000)
    assert heard_in == {threading.main_thread()}


def test_frames_are_measured_and_slow_ones_come_less_often(make_bay: MakeBay) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)))
    window.grab()
    assert window.frame_stats.count >= 1
    assert window.frame_stats.p99_ms >= window.frame_stats.median_ms > 0.0
    for _ in range(20):
        window._painted(0.08)
    assert window._frames.interval() == 160
    for _ in range(20):
        window._painted(0.001)
    assert window._frames.interval() == 33


def test_help_shows_how_the_window_keeps_up(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay()
    show(window, angles(grid(0, 1)))
    qtbot.keyClick(window, Qt.Key.Key_F2)
    box = window.findChild(QMessageBox)
    assert box is not None
    assert "Age of the newest sample: 0 ms" in box.text()
    box.close()


@pytest.mark.parametrize("size", [(900, 560), (1280, 720), (1920, 1080)])
def test_texts_grow_with_the_window_and_nothing_is_cut(make_bay: MakeBay, size: tuple[int, int]) -> None:
    window = make_bay()
    window.resize(*size)
    show(window, angles(grid(0, 1)), state(Motion.GROWING))
    window.grab()
    assert (window.width(), window.height()) == size
    block = window.view.panel.state
    assert block.word.font().pixelSize() == round(72 * window._scale())
    assert block.word.width() >= block.word.sizeHint().width()
    assert block.word.height() >= block.word.fontMetrics().capHeight()


# ── end ──────────────────────────────────────────────────────────────────────────────────────────────────────────


def test_h85_escape_stops_once_in_good_order_then_closes(make_bay: MakeBay, qtbot: QtBot) -> None:
    calls: list[str] = []
    gate = threading.Event()

    def stop() -> None:
        gate.wait(3.0)
        calls.append(threading.current_thread().name)

    window = make_bay(on_stop=stop, on_close=lambda failure: calls.append(f"closed {failure}"))
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    assert window.isVisible()
    assert window.view.messages.text.text() == phrase("closing")
    gate.set()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert calls == ["stop", "closed None"]


def test_h85_a_stop_that_hangs_does_not_keep_the_window(make_bay: MakeBay, qtbot: QtBot) -> None:
    gate = threading.Event()
    closed: list[str | None] = []
    window = make_bay(on_stop=lambda: bool(gate.wait(10.0)), on_close=closed.append, stop_limit_s=0.1)
    window.close()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    gate.set()
    assert closed == ["the session did not stop within 0.1 s"]
    assert window.stop_failure == closed[0]


def test_h85_log_off_stops_without_the_event_loop(make_bay: MakeBay) -> None:
    calls: list[int] = []
    window = make_bay(on_stop=lambda: calls.append(1))
    window.stop_now()
    window.stop_now()
    window.close()
    assert calls == [1]


def test_windows_can_be_opened_again_and_again(make_bay: MakeBay, qtbot: QtBot) -> None:
    for _ in range(5):
        window = make_bay()
        show(window, angles(grid(0, 1)), rep(0))
        window.close()
        qtbot.waitUntil(lambda window=window: not window.isVisible(), timeout=3000)  # type: ignore[misc]
        assert not window._frames.isActive()


def test_a_doubt_is_told(make_bay: MakeBay) -> None:
    window = make_bay()
    show(window, Doubted(1.0, "right hip", "joint", "right hip: its two inclinations do not agree"))
    assert window.view.messages.text.text() == "right hip: its two inclinations do not agree"


@pytest.mark.parametrize("column", [0, 1, 2])
def test_one_angle_that_is_not_known_leaves_the_others_in_place(make_bay: MakeBay, column: int) -> None:
    """Flexion, adduction or rotation of the trail hip: a gap in its own trace, a dash for its own number."""
    whole = angles(grid(60, 62))
    trail = whole.joint("hip", Side.RIGHT)
    ok = trail.ok.copy()
    ok[-100:, column] = False
    value = np.where(ok, trail.angle_rad, np.nan)
    lame = replace(trail, ok=ok, angle_rad=value)
    others = tuple(one for one in whole.joints if one is not trail)
    window = make_bay()
    show(window, angles(grid(58, 60)))
    show(window, replace(whole, joints=(*others, lame)))
    assert (number(window) == "–") == (column == 0)
    assert (window.view.panel.angle.spread.text() == phrase("not_known")) == (column == 0)
