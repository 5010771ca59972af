"""The first screen: every step by keyboard, what is missing in words, try-it, and an ordered end."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import msgspec
import numpy as np
import pytest
from bay_events import angles, finding, grid, rep
from PySide6.QtCore import Qt, QTimer
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QDialog
from pytestqt.qtbot import QtBot

from imufeedback import people, resources
from imufeedback.app import best_reps, practice_choices
from imufeedback.app.dialogs import AskStop
from imufeedback.app.live_window import END_HOLD_MS, LiveWindow
from imufeedback.app.palette import PaintedSign
from imufeedback.app.start import texts
from imufeedback.app.start.moves import TURNING
from imufeedback.app.start.readiness import NEEDED, Mark, Readiness, StartStep
from imufeedback.ble.clock import MonotonicClock
from imufeedback.ble.roster import KnownSensor
from imufeedback.commands import AnyCommand, BeginBlock, args_of, verb_of
from imufeedback.errors import CannotWrite
from imufeedback.live import practice
from imufeedback.live.golfer import VirtualGolfer
from imufeedback.live.lesson import Lesson, LessonBlock
from imufeedback.live.station_source import WornSensors
from imufeedback.packets import parse_layout
from imufeedback.people import Person
from imufeedback.phrases import phrase
from imufeedback.record.fits import StoredFit, last, store
from imufeedback.records import (
    Doubted,
    Event,
    Fit,
    FitRefused,
    FitStep,
    Fitted,
    Hand,
    Level,
    Link,
    LinkState,
    Notice,
    Role,
    RolesChanged,
    Segment,
    SegmentFit,
    SwapOffered,
)

DAY = datetime.date(2026, 5, 1)
SEEN = Person("Robin", Hand.LEFT, cautions_seen=DAY)
Make = Callable[..., LiveWindow]


class FakeStation:
    """Says what the test tells it to."""

    def __init__(self, tell: Callable[[list[Event]], None], searched: Callable[[str | None], None]) -> None:
        self.tell, self.searched = tell, searched
        self.clock = MonotonicClock()
        self.searches = 0
        self.sensors = ("A1", "B2", "C3")
        self.closed = False
        self.others: list[Any] = []
        self.absent: list[KnownSensor] = []
        self.troubles: list[str] = []
        self.asked: list[tuple[str, ...]] = []

    def search(self) -> None:
        self.searches += 1

    def find(self, *sensors: str) -> None:
        facts = {"battery_percent": 80, "address": "x"}
        self.tell([Link(one, 0.0, LinkState.CONNECTED, "", facts) for one in sensors])
        self.searched(None)

    def take(self, *who: str) -> None:
        self.asked.append(("take", *who))

    def leave(self, sensor: str) -> None:
        self.asked.append(("leave", sensor))

    def blink(self, who: str) -> None:
        self.asked.append(("blink", who))

    def close(self) -> None:
        self.closed = True


class FakePractice:
    """Notes what it is asked."""

    def __init__(self, source: Any, *args: Any, **keywords: Any) -> None:
        self.source, self.args = source, args
        self.recording = Path("somewhere.mcap")
        self.asked: list[tuple[str, Any]] = []
        self.elapsed_s = 0.0
        self.stopped = 0

    def start(self) -> None:
        self.asked.append(("start", {}))

    def command(self, command: AnyCommand) -> None:
        self.asked.append((verb_of(command), args_of(command)))

    def preview(self, sound: str) -> None:
        self.asked.append(("preview", sound))

    def delay_ms(self) -> float | None:
        return None

    def sound_trouble(self) -> str:
        return ""

    def stop(self) -> None:
        self.stopped += 1


@pytest.fixture
def make(qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Make:
    monkeypatch.setattr(practice, "Practice", FakePractice)
    monkeypatch.setattr(VirtualGolfer, "settings", "worked out")  # seconds of work that no test here looks at
    monkeypatch.setattr(practice, "new_recording", lambda folder, title: (folder, title))
    layout = parse_layout(resources.text("layouts", "house"), "house")

    def build(*persons: Person, roles: dict[str, Segment] | None = None, **more: Any) -> LiveWindow:
        store = people.load(tmp_path / "players")
        for person in persons:
            store.save(person)
        window = LiveWindow(
            store,
            practice_choices.available(),
            layout,
            FakeStation,  # type: ignore[arg-type]
            tmp_path,
            role_of=(roles or {}).get,
            **{"today": lambda: DAY, **more},
        )
        window.start.player._today = lambda: DAY
        qtbot.addWidget(window, before_close_func=lambda one: one.stop_now())
        with qtbot.waitActive(window):
            window.show()
            window.activateWindow()
        return window

    return build


def press(*keys: Any, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
    """To whatever has the keyboard, as a person would."""
    for key in keys:
        widget = QApplication.focusWidget()
        assert widget is not None
        QTest.keyClick(widget, key, modifier)
        for _ in range(3):  # what comes of it is done a part at a time
            QApplication.processEvents()


CTRL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier


def fitted(level: Level = Level.GOOD) -> Fitted:
    return Fitted(30.0, Fit("m", (SegmentFit(Segment.PELVIS, np.array([1.0, 0.0, 0.0, 0.0]), level, 0.1, None),)))


def told(window: LiveWindow, *events: Event) -> None:
    assert window.bay is not None
    window.feed.push(events)
    window.bay._hear()


def test_a_new_player_from_name_to_sensors_by_keyboard(make: Make, tmp_path: Path) -> None:
    window = make()
    assert window.start.missing.text() == texts.missing(Readiness(work=window.start.ready.work))
    press(Qt.Key.Key_N, modifier=CTRL)
    QTest.keyClicks(QApplication.focusWidget(), "Robin")
    press(Qt.Key.Key_Tab)
    press(Qt.Key.Key_Right)  # to the left hand
    press(Qt.Key.Key_Tab)
    QTest.keyClicks(QApplication.focusWidget(), "1,78")
    press(Qt.Key.Key_Return)
    player = window.start.player
    assert player.pages.currentWidget() is player.cautions
    assert window.start.ready.mark(StartStep.PLAYER) is Mark.OPEN
    press(Qt.Key.Key_Return)
    assert window.start.step is StartStep.SENSORS
    assert people.load(tmp_path / "players").all == (Person("Robin", Hand.LEFT, 1.78, cautions_seen=DAY),)


def test_a_returning_player_needs_one_key_to_the_sensors(make: Make) -> None:
    window = make(SEEN)
    press(Qt.Key.Key_Return)
    assert window.start.step is StartStep.SENSORS
    assert window.start.ready.person == SEEN


def test_a_wrong_height_is_told_beside_the_form(make: Make) -> None:
    window = make()
    window.start.player.add()
    form = window.start.player.form
    form.name.setText("x")
    form.height_m.setText("tall")
    form.save.click()
    assert "tall" in form.trouble.text()
    assert window.start.player.pages.currentWidget() is form


def test_a_player_can_be_changed(make: Make) -> None:
    window = make(SEEN)
    press(Qt.Key.Key_E, modifier=CTRL)
    window.start.player.form.notes.setPlainText("tight")
    window.start.player.form.save.click()
    found = window.people.find("robin")
    assert found is not None
    assert found.notes == "tight"


def trial(make: Make, qtbot: QtBot) -> LiveWindow:
    """The virtual golfer, begun by keyboard."""
    window = make(SEEN)
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_T, modifier=CTRL)
    assert window.practice is None, "it waits for the beginning"
    assert window.start.step is StartStep.WORK
    assert window.start.ready.can_begin
    press(Qt.Key.Key_Return, modifier=CTRL)
    qtbot.waitUntil(lambda: window.pages.currentWidget() is window.bay, timeout=60_000)
    return window


def test_what_is_said_of_the_virtual_golfer_is_true(make: Make) -> None:
    window = make(SEEN)
    press(Qt.Key.Key_Return)
    start = window.start
    start.show_search("scan: there is no Bluetooth adapter")
    assert "Bluetooth" in start.missing.text()
    press(Qt.Key.Key_T, modifier=CTRL)
    assert "Bluetooth" not in start.missing.text()
    assert not start.sensors.trouble.isVisibleTo(start.sensors)
    lines = {step: row.line.text() for step, row in start.steps.rows.items()}
    assert lines[StartStep.SENSORS] == "virtual golfer"
    assert lines[StartStep.CALIBRATION] == "by the virtual golfer, at the start"
    start.search()
    assert not start.ready.virtual, "whoever searches wants to wear them"
    window.close()


def test_the_virtual_golfer_waits_to_begin_and_the_player_is_remembered(make: Make, qtbot: QtBot) -> None:
    window = trial(make, qtbot)
    made = window.practice
    assert isinstance(made, FakePractice)
    assert isinstance(made.source, VirtualGolfer)
    assert made.source.plan.hand is Hand.LEFT
    assert window.feed.hand is Hand.LEFT
    assert window.bay is not None
    assert window.pages.currentWidget() is window.bay
    assert window.bay.view.isVisible()
    assert [verb for verb, _ in made.asked] == ["start", "block"]
    kept = window.people.find("Robin")
    assert kept is not None
    assert (kept.last_used, kept.drill) == (DAY, window.start.ready.work)
    window.close()
    asking = window.findChild(AskStop)
    assert asking is not None
    qtbot.keyClick(asking, Qt.Key.Key_Escape)
    assert made.stopped == 0
    window.close()
    window.findChildren(AskStop)[-1].stop.click()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert made.stopped == 1


def test_a_session_ends_in_a_summary_and_goes_on_again_or_with_the_next_player(make: Make, qtbot: QtBot) -> None:
    window = trial(make, qtbot)
    assert window.bay is not None
    told(window, angles(grid(60, 64)), rep(0), finding(0))
    qtbot.keyClick(window.bay, Qt.Key.Key_Escape)
    asking = window.findChild(AskStop)
    assert asking is not None
    asking.stop.click()
    qtbot.waitUntil(lambda: window.end is not None, timeout=3000)
    assert window.isVisible()
    assert window.end is not None
    assert window.pages.currentWidget() is window.end
    assert window.end.result.text() == "0 of 1 reps without a fault"
    assert window.end.next_title.text()
    first = window.practice
    qtbot.keyClick(window.end, Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: window.practice is not first and window.pages.currentWidget() is window.bay, timeout=60_000)
    assert window.bay is not None
    assert window.bay.view.book.last is None, "a new session knows no rep of the last one"
    window.feed.finish()
    window.bay._hear()
    window.bay._frame()
    qtbot.waitUntil(lambda: window.end is not None, timeout=10_000)
    assert window.end is not None
    qtbot.keyClick(window.end, Qt.Key.Key_N)
    assert window.pages.currentWidget() is window.start
    assert window.start.step is StartStep.PLAYER
    assert not window.start.ready.running
    window.close()
    assert not window.isVisible()


def test_a_session_that_is_closed_before_its_summary_comes_leaves_the_next_one_alone(make: Make, qtbot: QtBot) -> None:
    window = trial(make, qtbot)
    assert window.bay is not None
    told(window, angles(grid(60, 64)), rep(0), finding(0))
    window.feed.finish()
    window.bay._frame()
    waiting = [one for one in window.findChildren(QTimer) if one.isActive() and one.interval() == END_HOLD_MS]
    assert len(waiting) == 1, "the summary comes by itself"
    window.bay.close()
    qtbot.waitUntil(lambda: window.end is not None, timeout=3000)
    assert not waiting[0].isActive()
    window.close()


def test_sensors_are_searched_placed_and_fitted(make: Make, qtbot: QtBot) -> None:
    window = make(SEEN, roles={"A1": Segment.PELVIS, "B2": Segment.LEFT_THIGH})
    start = window.start
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_F, modifier=CTRL)
    station: Any = window._station
    assert station.searches == 1
    assert start.ready.mark(StartStep.SENSORS) is Mark.BUSY
    station.find("A1", "B2", "C3")
    qtbot.waitUntil(lambda: not start.ready.searching, timeout=2000)
    assert texts.says(StartStep.SENSORS, start.ready) == "no sensor on: right thigh"
    start.sensors.rows["C3"].place.setFocus()
    start.sensors.rows["C3"].place.setCurrentIndex(3)
    start.sensors.rows["C3"].place.activated.emit(3)
    assert start.ready.can_stream
    press(Qt.Key.Key_Return, modifier=CTRL)
    made = window.practice
    assert isinstance(made, FakePractice)
    assert isinstance(made.source, WornSensors)
    assert made.source.settings.player == SEEN.player
    assert {one.id: one.role for one in made.source.settings.sensors} == {
        "A1": Segment.PELVIS,
        "B2": Segment.LEFT_THIGH,
        "C3": Segment.RIGHT_THIGH,
    }
    told(window, *(Link(sensor, 1.0, LinkState.STREAMING, "", {}) for sensor in ("A1", "B2", "C3")))
    press(Qt.Key.Key_R, modifier=CTRL)
    assert start.calibration.now.text() == texts.fit_now(0)
    assert made.asked[-1] == ("fit-begin", {})
    told(window, FitRefused(40.0, "the pelvis moved"))
    assert start.ready.mark(StartStep.CALIBRATION) is Mark.TROUBLE
    assert "the pelvis moved" in start.calibration.now.text()
    told(window, fitted())
    assert start.ready.can_begin


def others(*names: str) -> list[Any]:
    return [
        SimpleNamespace(address=f"C0:{k:02}", announced=name, rssi_dbm=-50 - 12 * k) for k, name in enumerate(names)
    ]


def searched(window: LiveWindow, qtbot: QtBot) -> Any:
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_F, modifier=CTRL)
    return window._station


def test_with_no_own_sensor_the_person_is_asked_and_nothing_is_chosen_for_them(make: Make, qtbot: QtBot) -> None:
    kept: dict[str, Segment | None] = {}
    window = make(SEEN, remember=lambda sensor, segment, facts: kept.update({sensor: segment}))
    station = searched(window, qtbot)
    station.others = others("N1", "", "N3")
    station.searched(None)
    panel = window.start.sensors.others
    qtbot.waitUntil(panel.list.isVisible, timeout=2000)
    assert "Which are yours?" in panel.hint.text()
    assert [panel.list.item(k).text() for k in range(3)] == [
        "N1  ·  close by (−50 dBm)",
        "C0:01  ·  near (−62 dBm)",
        "N3  ·  near (−74 dBm)",
    ]
    assert panel.chosen == []
    assert not panel.mine.isEnabled()
    assert station.asked == []
    assert kept == {}
    press(Qt.Key.Key_Down, Qt.Key.Key_Up)
    press(Qt.Key.Key_B, modifier=CTRL)
    press(Qt.Key.Key_M, modifier=CTRL)
    assert station.asked == [("blink", "C0:00"), ("take", "C0:00")]
    assert window.start.ready.searching
    assert not panel.mine.isEnabled()
    station.others = station.others[1:]
    station.find("N1")
    qtbot.waitUntil(lambda: "N1" in window.start.sensors.rows, timeout=2000)
    assert kept == {"N1": None}


def test_with_all_own_sensors_others_are_one_folded_line(make: Make, qtbot: QtBot) -> None:
    window = make(SEEN, roles=dict(zip(("A1", "B2", "C3"), NEEDED, strict=True)))
    station = searched(window, qtbot)
    station.others = others(*(f"N{k}" for k in range(17)))
    station.find("A1", "B2", "C3")
    panel = window.start.sensors.others
    qtbot.waitUntil(panel.isVisible, timeout=2000)
    assert not panel.list.isVisible()
    assert panel.toggle.text().startswith("17 other sensors in reach, left alone")
    assert window.start.ready.can_stream
    assert all(row.tick.isChecked() for row in window.start.sensors.rows.values())
    press(Qt.Key.Key_L, modifier=CTRL)
    assert panel.list.isVisible()
    assert panel.chosen == []


def test_an_own_sensor_can_be_left_out_and_another_worn_in_its_place(make: Make, qtbot: QtBot) -> None:
    window = make(SEEN, roles=dict(zip(("A1", "B2", "C3"), NEEDED, strict=True)))
    station = searched(window, qtbot)
    station.find("A1", "B2", "C3", "D4")
    rows = window.start.sensors.rows
    qtbot.waitUntil(lambda: not window.start.ready.searching, timeout=2000)
    rows["A1"].tick.click()
    assert station.asked == [("leave", "A1")]
    station.tell([Link("A1", 0.0, LinkState.CLOSED, "", {})])
    station.searched(None)
    qtbot.waitUntil(lambda: not window.start.ready.searching, timeout=2000)
    assert not rows["A1"].tick.isChecked()
    assert rows["A1"].words.text().startswith("left out")
    assert not window.start.ready.can_stream
    rows["D4"].place.setCurrentIndex(1)
    rows["D4"].place.activated.emit(1)
    assert window.start.ready.can_stream
    rows["D4"].blink.click()
    assert station.asked[-1] == ("blink", "D4")


def test_an_own_sensor_that_is_not_heard_is_named_and_new_ones_are_asked_about(make: Make, qtbot: QtBot) -> None:
    window = make(SEEN, roles={"A1": Segment.PELVIS})
    station = searched(window, qtbot)
    station.absent = [KnownSensor("B2", Segment.LEFT_THIGH)]
    station.troubles = ["sensor C3: cannot be reached: no answer"]
    station.others = others("N1")
    station.find("A1")
    sensors = window.start.sensors
    qtbot.waitUntil(sensors.trouble.isVisible, timeout=2000)
    assert "Not found: left thigh (B2)." in sensors.trouble.text()
    assert "C3: cannot be reached" in sensors.trouble.text()
    assert sensors.others.list.isVisible()
    assert window.start.ready.mark(StartStep.SENSORS) is Mark.OPEN


def test_a_search_that_fails_says_why(make: Make, qtbot: QtBot) -> None:
    window = make(SEEN)
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_F, modifier=CTRL)
    station: Any = window._station
    station.searched("scan: no Bluetooth – switch it on")
    qtbot.waitUntil(lambda: window.start.sensors.trouble.isVisible(), timeout=2000)
    assert "no Bluetooth" in window.start.sensors.trouble.text()
    assert window.start.ready.mark(StartStep.SENSORS) is Mark.TROUBLE
    assert not window.start.ready.can_stream
    window.close()
    assert station.closed


def test_a_sensor_that_goes_is_seen_in_the_steps(make: Make) -> None:
    window, _ = streaming(make)
    told(window, Link("A1", 2.0, LinkState.LOST, "", {}))
    assert window.start.ready.mark(StartStep.SENSORS) is Mark.TROUBLE
    assert "pelvis" in window.start.steps.rows[StartStep.SENSORS].line.text()


def test_a_recording_that_cannot_be_made_is_told(make: Make, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(folder: Path, title: str) -> None:
        raise CannotWrite("no room", where=str(folder))

    monkeypatch.setattr(practice, "new_recording", refuse)
    window = make(SEEN)
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_T, modifier=CTRL)
    press(Qt.Key.Key_Return, modifier=CTRL)
    qtbot.waitUntil(lambda: "no room" in window.start.messages.text.text(), timeout=60_000)
    assert window.practice is None


def streaming(make: Make, person: Person = SEEN, **keywords: Any) -> tuple[LiveWindow, FakePractice]:
    """A session on sensors, before its calibration."""
    window = make(person, roles=dict(zip(("A1", "B2", "C3"), NEEDED, strict=True)), **keywords)
    press(Qt.Key.Key_Return)
    press(Qt.Key.Key_F, modifier=CTRL)
    station: Any = window._station
    station.find("A1", "B2", "C3")
    QTest.qWait(1)
    QApplication.processEvents()
    press(Qt.Key.Key_Return, modifier=CTRL)
    made = window.practice
    assert isinstance(made, FakePractice)
    told(window, *(Link(sensor, 1.0, LinkState.STREAMING, "", {}) for sensor in ("A1", "B2", "C3")))
    return window, made


def test_movements_that_are_seen_are_ticked_off_one_by_one(make: Make) -> None:
    window, made = streaming(make)
    press(Qt.Key.Key_R, modifier=CTRL)
    assert made.asked[-1] == ("fit-begin", {})
    calibration = window.start.calibration
    for number in range(1, 6):
        window.start.hear(FitStep(1.0 * number, "x", number, 5, f"now {number}"))
        assert calibration.now.text() == f"now {number}"
        assert [sign.sign is PaintedSign.TICK for sign in calibration.signs] == [k < number for k in range(5)]


@pytest.mark.parametrize(("key", "verb"), [(Qt.Key.Key_Y, "swap"), (Qt.Key.Key_K, "keep")])
def test_sensors_that_were_seen_elsewhere_are_asked_about(make: Make, key: Qt.Key, verb: str) -> None:
    window, made = streaming(make)
    swapped = {Segment.LEFT_THIGH: Segment.RIGHT_THIGH, Segment.RIGHT_THIGH: Segment.LEFT_THIGH}
    window.start.hear(SwapOffered(9.0, swapped, True, "swap them?"))
    assert "left thigh → right thigh" in window.start.calibration.now.text()
    press(key, modifier=CTRL)
    assert made.asked[-1] == (verb, {})
    assert not window.start.calibration.swap.isVisible()


def test_sensors_that_changed_places_are_remembered_there(make: Make) -> None:
    window, _ = streaming(make)
    kept: dict[str, Segment | None] = {}
    window._remember = lambda sensor, segment, facts: kept.update({sensor: segment})
    told(window, RolesChanged(9.0, {"A1": NEEDED[0], "B2": NEEDED[2], "C3": NEEDED[1]}))
    assert kept == {"B2": NEEDED[2], "C3": NEEDED[1]}
    assert window.start.ready.roles == {"A1": NEEDED[0], "B2": NEEDED[2], "C3": NEEDED[1]}


def test_last_calibration_of_the_player_can_be_used_and_its_age_is_said(make: Make, tmp_path: Path) -> None:
    store(tmp_path, StoredFit("Robin", DAY, fitted().fit))
    window, made = streaming(make, fits=tmp_path, today=lambda: DAY + datetime.timedelta(days=3))
    assert window.start.calibration.now.text() == phrase("start.fit_can_begin")
    assert window.start.calibration.stored.isVisible()
    assert "3 days ago" in window.start.calibration.stored.text()
    press(Qt.Key.Key_O, modifier=CTRL)
    verb, args = made.asked[-1]
    assert verb == "set-fit"
    assert "3 days ago" in args["caution"]


def test_a_calibration_is_kept_for_later_today(make: Make, tmp_path: Path) -> None:
    window, _ = streaming(make, fits=tmp_path, today=lambda: DAY)
    assert not window.start.calibration.stored.isVisible()
    told(window, fitted())
    kept = last(tmp_path, "Robin")
    assert kept is not None
    assert kept.caution(DAY) is None


def test_best_rep_is_kept_for_next_week_but_not_a_virtual_one(make: Make, qtbot: QtBot) -> None:
    window, _ = streaming(make)
    path = window.people.beside("Robin", ".reps.json")
    assert path is not None
    assert window.bay is not None
    told(window, angles(grid(60, 64)), rep(0))
    window.stop_unasked()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert best_reps.find(path, DAY) is None
    track = best_reps.find(path, DAY + best_reps.WEEK)
    assert track is not None
    assert (track.number, track.label) == (1, "2026-05-01")


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_every_step_is_one_key_away_and_tab_reaches_its_parts(make: Make, number: int) -> None:
    window = make(SEEN)
    press(getattr(Qt.Key, f"Key_{number}"), modifier=ALT)
    assert window.start.step is list(StartStep)[number - 1]
    reached = set()
    for _ in range(30):
        press(Qt.Key.Key_Tab)
        reached.add(QApplication.focusWidget())
    assert window.start.next in reached
    assert {*window.start.steps.rows.values()} <= reached


def test_cautions_are_in_reach(make: Make) -> None:
    window = make(SEEN)
    press(Qt.Key.Key_F1, modifier=Qt.KeyboardModifier.ShiftModifier)
    dialog = window.findChild(QDialog)
    assert dialog is not None
    assert dialog.isVisible()


def test_steps_and_pictures_have_names_for_screen_readers(make: Make) -> None:
    window = make(SEEN)
    window.start.hear(Link("A1", 0.0, LinkState.CONNECTED, "", {}))
    window.start.ready.roles["A1"] = Segment.PELVIS
    window.start.refresh()
    for step, row in window.start.steps.rows.items():
        assert row.accessibleName().startswith(texts.title(step))
    assert "pelvis: connected" in window.start.sensors.body.accessibleName()
    assert window.start.sensors.rows["A1"].place.accessibleName()


@pytest.mark.parametrize("size", [(900, 560), (1280, 720), (1920, 1080)])
def test_no_step_asks_for_more_room_than_the_window_has(make: Make, qtbot: QtBot, size: tuple[int, int]) -> None:
    window = make(SEEN, Person("A very long name for one player, which may well happen"))
    window.resize(*size)
    for step in StartStep:
        window.start.show_step(step)
        window.grab()
        assert (window.width(), window.height()) == size
        qtbot.waitUntil(lambda: window.start.minimumSizeHint().width() <= size[0], timeout=1000)
        assert window.start.minimumSizeHint().height() <= size[1]


# ── without a window ─────────────────────────────────────────────────────────────────────────────────────────────


def test_every_line_of_the_calibration_has_what_turns_in_it() -> None:
    assert len(TURNING) == len(texts.fit_list())


def test_two_sensors_on_one_place_keep_the_session_from_beginning() -> None:
    ready = Readiness(person=SEEN, links=dict.fromkeys("abcd", LinkState.CONNECTED))
    ready.roles = dict(zip("abc", NEEDED, strict=True))
    assert ready.can_stream
    ready.roles["d"] = Segment.PELVIS
    assert not ready.can_stream
    assert ready.mark(StartStep.SENSORS) is Mark.TROUBLE


def test_a_broken_rule_set_is_named_and_the_others_stay(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    (tmp_path / "rules").mkdir()
    (tmp_path / "rules" / "mine.toml").write_text("title = ")
    works = practice_choices.available()
    assert works.find("rules/swing") is not None
    assert "mine" in works.troubles[0]


PLAN = """format = 1
name = "mine"
title = "Mine"
[[blocks]]
name = "swings"
role = "drill"
drill = "mine"
reps = 5
mode = "concurrent"
"""


@pytest.mark.parametrize(
    ("drill", "plan", "says"),
    [
        (None, PLAN, "there is no rules file 'mine'"),
        ("title = ", PLAN, "block 'swings': mine.toml: not TOML"),
        ("shipped", PLAN.replace('"drill"', '"exam"'), "exam"),
        ("shipped", PLAN.replace("reps = 5", "rep = 5"), "rep"),
        ("shipped", PLAN.replace('"drill"', '"test"'), "'swings' is a test with tones"),
    ],
)
def test_a_broken_plan_is_named_with_its_reason_and_the_others_stay(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drill: str | None, plan: str, says: str
) -> None:
    if drill == "shipped":
        drill = resources.text("drills", "half-swings")
    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    for kind, text in (("drills", drill), ("plans", plan)):
        (tmp_path / kind).mkdir()
        if text is not None:
            (tmp_path / kind / "mine.toml").write_text(text, encoding="utf-8")
    works = practice_choices.available()
    assert works.find("plans/mine") is None
    assert says in works.troubles[-1]
    assert works.troubles[-1].startswith("plans mine: ")
    assert works.find("plans/standard") is not None
    assert works.find("drills/half-swings") is not None


def test_a_folder_that_is_none_to_look_into_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    listdir = os.listdir

    def refuse(path: Path) -> list[str]:
        if Path(path) == tmp_path / "plans":
            raise PermissionError(13, "Permission denied")
        return listdir(path)

    monkeypatch.setenv("IMUFEEDBACK_HOME", str(tmp_path))
    (tmp_path / "plans").mkdir()
    monkeypatch.setattr("imufeedback.resources.os.listdir", refuse)
    works = practice_choices.available()
    assert works.find("rules/swing") is not None
    assert [one for one in works.troubles if "plans" in one and "Permission denied" in one]


def test_notices_reach_the_first_screen(make: Make) -> None:
    window = make(SEEN)
    window.start.hear(Notice(0.0, "look here"))
    assert window.start.messages.text.text() == "look here"


def test_doubts_reach_the_first_screen(make: Make) -> None:
    window = make(SEEN)
    window.start.hear(Doubted(0.0, "pelvis", "axes", "pelvis: gravity points sideways"))
    assert window.start.messages.text.text() == "pelvis: gravity points sideways"


def test_a_rep_that_could_not_be_judged_uses_up_none_of_its_block(make: Make) -> None:
    window, made = streaming(make)
    blocks = (LessonBlock(BeginBlock("two", Role.SWINGS), 2), LessonBlock(BeginBlock("more", Role.SWINGS)))
    window._lesson = Lesson(blocks, window.practice.command)
    window._lesson.begin()
    void = replace(rep(1, features={}), void="right hip: rotation not known after a gap")
    told(window, rep(0), void)
    assert [args["name"] for verb, args in made.asked if verb == "block"] == ["two"]
    told(window, rep(2))
    assert [args["name"] for verb, args in made.asked if verb == "block"] == ["two", "more"]


def test_a_void_rep_is_nobodys_best(make: Make, qtbot: QtBot) -> None:
    window, _ = streaming(make)
    path = window.people.beside("Robin", ".reps.json")
    assert path is not None
    told(window, angles(grid(60, 64)), replace(rep(0, features={}), void="right hip: rotation not known after a gap"))
    window.stop_unasked()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert best_reps.find(path, DAY + best_reps.WEEK) is None


# ── what a player has of his own ─────────────────────────────────────────────────────────────────────────────────


def test_a_limit_for_the_player_counts_at_the_next_start(make: Make) -> None:
    window, made = streaming(make)
    assert made.source.settings.limits == ""
    window.bay.coach.set_limit("turns-in-the-hips", 0.4, keep=True)
    window.bay.coach.set_limit("lead-hip-turns-in", 30.0)
    found = people.load(window.people.folder).find("Robin")
    assert found is not None
    assert found.limits == {"turns-in-the-hips": 0.4}
    assert "0.4" in people.limits_text(found)
    window._keep_person()
    assert people.load(window.people.folder).find("Robin").limits == {"turns-in-the-hips": 0.4}


def test_a_session_begins_with_the_players_own_limits(make: Make) -> None:
    window, made = streaming(make, msgspec.structs.replace(SEEN, limits={"turns-in-the-hips": 0.4}))
    assert "turns-in-the-hips" in made.source.settings.limits
    assert window.bay.coach.limits["turns-in-the-hips"].value == 0.4


def test_homework_is_given_shown_at_the_next_start_and_ticked_off(make: Make, qtbot: QtBot) -> None:
    window, made = streaming(make)
    window.bay.coach._give("half-swings", 2, 3)
    given = people.load(window.people.folder).find("Robin").homework
    assert [(one.drill, one.reps, one.days, one.given, one.done) for one in given] == [("half-swings", 2, 3, DAY, ())]
    assert made.asked[-1][0] == "note"
    told(window, *(replace(rep(k), kind="half-swings") for k in range(2)))
    window.stop_unasked()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert people.load(window.people.folder).find("Robin").homework[0].done == (DAY,)


def test_open_homework_is_chosen_and_said(make: Make) -> None:
    given = people.Homework("half-swings", 20, 5, DAY, (DAY,))
    window = make(msgspec.structs.replace(SEEN, homework=(given,), drill="rules/swing"))
    assert "homework: 1 of 5 days" in window.start.player.choose.list.item(0).text()
    press(Qt.Key.Key_Return)
    assert window.start.work is not None
    assert window.start.work.name == "half-swings"
    assert "20 reps a day" in window.start.messages.text.text()


# ── a returning player ───────────────────────────────────────────────────────────────────────────────────────────

HERE_BEFORE = msgspec.structs.replace(SEEN, last_used=DAY, drill="rules/swing")


def returned(make: Make, qtbot: QtBot, person: Person = HERE_BEFORE) -> LiveWindow:
    """The program was opened: own sensors are searched for without a key."""
    roles = dict(zip(("A1", "B2", "C3"), NEEDED, strict=True))
    window = make(person, roles=roles, known_places=lambda: set(NEEDED))
    qtbot.waitUntil(lambda: window._station is not None, timeout=3000)
    station: Any = window._station
    assert station.searches == 1
    station.find("A1", "B2", "C3")
    QTest.qWait(1)
    QApplication.processEvents()
    return window


def stream(window: LiveWindow) -> None:
    told(window, *(Link(sensor, 1.0, LinkState.STREAMING, "", {}) for sensor in ("A1", "B2", "C3")))


def test_one_key_takes_a_returning_player_to_the_first_swing(make: Make, qtbot: QtBot) -> None:
    window = returned(make, qtbot)
    assert window.practice is None, "nobody has said who trains"
    press(Qt.Key.Key_Return)
    made = window.practice
    assert isinstance(made, FakePractice)
    stream(window)
    assert made.asked[-1] == ("fit-begin", {})
    assert window.start.step is StartStep.CALIBRATION
    told(window, Fitted(9.0, Fit("m", (SegmentFit(Segment.PELVIS, np.zeros(4), Level.GOOD, 0.1, "why"),))))
    QApplication.processEvents()
    assert window.pages.currentWidget() is window.bay
    assert window.start.ready.work == "rules/swing"


def test_a_refused_calibration_of_somebody_alone_begins_again(
    make: Make, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("imufeedback.app.live_window.AGAIN_MS", 20)
    window = returned(make, qtbot)
    press(Qt.Key.Key_Return)
    made: Any = window.practice
    stream(window)
    told(window, FitRefused(5.0, "the left knee was not lifted"))
    assert "knee" in window.start.missing.text()
    qtbot.waitUntil(lambda: made.asked.count(("fit-begin", {})) == 2, timeout=3000)


def test_for_somebody_new_nothing_goes_on_by_itself(make: Make, qtbot: QtBot) -> None:
    window = returned(make, qtbot, SEEN)
    press(Qt.Key.Key_Return)
    assert window.practice is None
    assert window.start.step is StartStep.SENSORS


def test_whoever_does_something_by_hand_goes_on_by_hand(make: Make, qtbot: QtBot) -> None:
    window = returned(make, qtbot)
    press(Qt.Key.Key_Return)
    made: Any = window.practice
    window.start.steps.rows[StartStep.WORK].click()
    stream(window)
    assert ("fit-begin", {}) not in made.asked
