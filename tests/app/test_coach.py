"""The coach's keys: shown at once, and every one of them told on as a command for the journal."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bay_events import angles, finding, grid, rep, state, texts
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QLabel
from pytestqt.qtbot import QtBot

from imufeedback import resources
from imufeedback.app import numerals, panels, words
from imufeedback.app.bay import BayWindow
from imufeedback.app.coach import Keeper
from imufeedback.app.dialogs import AskStop, NoteDialog
from imufeedback.app.limits import TARGET, limits_of, of_worn
from imufeedback.app.limits_dialog import LimitsDialog
from imufeedback.app.palette import PaintedSign, PanelState
from imufeedback.app.panels.compare import Panel
from imufeedback.app.purposes import purposes_text
from imufeedback.app.tracks import Book, Choice, Track, track_of
from imufeedback.commands import args_of, verb_of
from imufeedback.cues.feedback import PURPOSES
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Event, Mode, Motion, Role, Segment, SelfEstimate, Verdict
from imufeedback.rules import Whose

MakeBay = Callable[..., BayWindow]
Asked = list[tuple[str, Mapping[str, Any]]]
SWING = resources.text("rules", "swing")


@pytest.fixture
def asked() -> Asked:
    return []


@pytest.fixture
def bay(make_bay: MakeBay, asked: Asked) -> BayWindow:
    return make_bay(on_command=lambda command: asked.append((verb_of(command), args_of(command))), rule_set=SWING)


def show(window: BayWindow, *events: Event) -> None:
    window.feed.push(events)
    window._hear()
    window._frame_number = 0
    window._frame()


def said(window: BayWindow) -> str:
    return window.view.messages.text.text()


def test_good_discard_and_back_again_by_key(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    show(bay, angles(grid(60, 64)), rep(0), rep(1, start_s=61.6))
    qtbot.keyClick(bay, Qt.Key.Key_G)
    assert said(bay) == words.marked_good(2, True)
    assert "good" in texts(bay.view.table, 1)[-1]
    qtbot.keyClick(bay, Qt.Key.Key_D)
    assert said(bay) == words.discarded(2, True)
    assert [one.rep.index for one in bay.view.book.counted] == [0]
    qtbot.keyClick(bay, Qt.Key.Key_D)
    assert asked == [
        ("good", {"rep": 1, "on": True}),
        ("discard", {"rep": 1, "on": True}),
        ("discard", {"rep": 1, "on": False}),
    ]
    assert len(bay.view.book.counted) == 2


def test_every_sound_can_be_switched_and_the_held_one_is_off_at_first(make_bay: MakeBay, asked: Asked) -> None:
    bay = make_bay(
        on_command=lambda command: asked.append((verb_of(command), args_of(command))),
        on_preview=lambda sound: None,
        rule_set=SWING,
    )
    (menu,) = [one for one in bay.menuBar().actions() if one.text() == phrase("tones_menu")]
    switches = {one.text(): one for one in menu.menu().actions()}
    assert [name for name, one in switches.items() if not one.isChecked()] == ["losing"]
    switches["losing"].trigger()
    switches["rep counted"].trigger()
    assert asked == [("cue", {"sound": "losing", "on": True}), ("cue", {"sound": "rep-counted", "on": False})]


@pytest.mark.parametrize("key", [Qt.Key.Key_G, Qt.Key.Key_D])
def test_without_a_rep_a_key_says_so(bay: BayWindow, qtbot: QtBot, asked: Asked, key: Qt.Key) -> None:
    qtbot.keyClick(bay, key)
    assert said(bay) == phrase("no_rep_to_mark")
    assert asked == []


def test_a_note_goes_to_the_last_rep_and_into_the_journal(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    show(bay, angles(grid(60, 64)), rep(0))
    qtbot.keyClick(bay, Qt.Key.Key_N)
    dialog = bay.findChild(NoteDialog)
    assert dialog is not None
    qtbot.keyClicks(dialog.text, "freer today")
    qtbot.keyClick(dialog.text, Qt.Key.Key_Return)
    assert asked == [("note", {"text": "freer today", "rep": 0})]
    assert "freer today" in texts(bay.view.table, 0)[-1]


def test_a_note_that_is_left_is_none(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    qtbot.keyClick(bay, Qt.Key.Key_N)
    dialog = bay.findChild(NoteDialog)
    assert dialog is not None
    qtbot.keyClicks(dialog.text, "x")
    qtbot.keyClick(dialog.text, Qt.Key.Key_Escape)
    assert asked == []


def test_pause_silences_and_reps_do_not_count(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    show(bay, angles(grid(60, 64)))
    qtbot.keyClick(bay, Qt.Key.Key_P)
    show(bay, rep(0))
    assert bay.view.panel.state.shown is PanelState.PAUSED
    assert bay.view.book.counted == []
    qtbot.keyClick(bay, Qt.Key.Key_P)
    show(bay, rep(1))
    assert [one.rep.index for one in bay.view.book.counted] == [1]
    assert asked == [
        ("pause", {"on": True}),
        ("mute", {"on": True}),
        ("discard", {"rep": 0, "on": True}),
        ("pause", {"on": False}),
        ("mute", {"on": False}),
    ]


def test_a_pause_leaves_tones_off_that_were_off(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    qtbot.keyClick(bay, Qt.Key.Key_Space)
    for _ in range(2):
        qtbot.keyClick(bay, Qt.Key.Key_P)
    assert [verb for verb, _ in asked] == ["pause", "pause"]


def test_target_by_key_by_mouse_and_by_field(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    assert bay.view.plots.target_deg == 2.0
    qtbot.keyClick(bay, Qt.Key.Key_Plus)
    bay.view.plots.target_moved.emit(5.5)
    bay.view.turn.target.setValue(7.2)
    bay.view.turn.target.sigPositionChangeFinished.emit(bay.view.turn.target)
    assert asked == [("limit", {"key": TARGET, "value": value}) for value in (3.0, 5.5, 7.0)]
    assert bay.view.plots.target_deg == 7.0
    qtbot.keyClick(bay, Qt.Key.Key_L)
    dialog = bay.findChild(LimitsDialog)
    assert dialog is not None
    field = dialog.fields["lead-hip-turns-in"]
    field.setFocus()
    field.setValue(31.0)
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert asked[-1] == ("limit", {"key": "lead-hip-turns-in", "value": 31.0})
    assert len(asked) == 4


def test_a_limit_stays_in_its_range(bay: BayWindow, asked: Asked) -> None:
    bay.coach.set_limit(TARGET, 400.0)
    bay.coach.set_limit("no-such-rule", 1.0)
    assert asked == [("limit", {"key": TARGET, "value": 60.0})]


def test_a_text_that_is_no_rule_set_gives_no_limits(bay: BayWindow) -> None:
    assert limits_of("nonsense =") == {}
    bay.coach.show_rule_set("nonsense =")
    assert bay.view.plots.target_deg is None


def test_compare_goes_through_what_there_is(bay: BayWindow, qtbot: QtBot) -> None:
    show(bay, angles(grid(60, 64)), rep(0), rep(1, start_s=61.6), rep(2, start_s=61.7))
    seen = []
    for _ in range(3):
        seen.append(bay.view.choice)
        qtbot.keyClick(bay, Qt.Key.Key_C)
    assert seen == [Choice.BEST, Choice.FIRST, Choice.NONE]
    bay.view.show_choice(Choice.FIRST)
    (compare,) = bay.view.findChildren(Panel)
    assert "rep 1" in compare.names[1].text()
    assert bay.view.turn.reference.isVisible()


def test_closing_a_running_session_asks_once(make_bay: MakeBay, qtbot: QtBot) -> None:
    stopped: list[int] = []
    window = make_bay(on_stop=lambda: stopped.append(1), ask=True)
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    asking = window.findChild(AskStop)
    assert asking is not None
    assert asking.stop.hasFocus() or asking.stop.isDefault()
    qtbot.keyClick(asking, Qt.Key.Key_Escape)
    assert stopped == []
    assert window.isVisible()
    qtbot.keyClick(window, Qt.Key.Key_Escape)
    qtbot.keyClick(window.findChildren(AskStop)[-1], Qt.Key.Key_Return)
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert stopped == [1]


def test_a_session_that_is_over_is_closed_without_asking(make_bay: MakeBay, qtbot: QtBot) -> None:
    window = make_bay(ask=True)
    window.feed.finish()
    window.close()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert window.findChild(QDialog) is None


def test_who_cannot_be_asked_is_not_asked(make_bay: MakeBay, qtbot: QtBot) -> None:
    stopped: list[int] = []
    window = make_bay(on_stop=lambda: stopped.append(1), ask=True)
    window.stop_unasked()
    qtbot.waitUntil(lambda: not window.isVisible(), timeout=3000)
    assert stopped == [1]


# ── reps as curves ───────────────────────────────────────────────────────────────────────────────────────────────


def samples(rows: int = 600) -> tuple[np.ndarray, np.ndarray]:
    t_s = 61.0 + np.arange(rows) / 200
    angle = np.full((rows, 7), np.nan)
    angle[:, 0], angle[:, 3] = np.linspace(20, -5, rows), np.linspace(-45, 90, rows)
    return t_s, angle


def test_track_of_a_rep_runs_from_address_to_finish() -> None:
    track = track_of(rep(3), *samples())
    assert track is not None
    assert track.number == 4
    np.testing.assert_allclose(track.turn_deg[[0, -1]], np.interp([61.5, 63.5], samples()[0], samples()[1][:, 3]))
    assert track.at_marks_deg == (23.6, 8.2, -0.3)
    assert len(track.turn_deg) <= 240
    assert 0 < track.down_from < len(track.turn_deg)


def test_a_rep_that_the_screen_does_not_hold_any_more_has_no_track() -> None:
    assert track_of(rep(start_s=10.0), *samples()) is None
    t_s, angle = samples()
    assert track_of(rep(), t_s, np.full_like(angle, np.nan)) is None


def test_best_is_marked_good_first_then_without_faults() -> None:
    book = Book()
    for index in range(4):
        book.add(rep(index), track_of(rep(index), *samples()))
    book.add_finding(finding(3))
    book.add_finding(finding(2, Verdict.UNSURE))
    best = book.best()
    assert best is not None
    assert best.rep.index == 1
    book.entries[3].good = True
    best = book.best()
    assert best is not None
    assert best.rep.index == 3
    book.entries[3].discarded = True
    best = book.best()
    assert best is not None
    assert best.rep.index == 1


def test_findings_may_come_before_their_rep_and_reps_twice() -> None:
    book = Book()
    book.add_finding(finding(0))
    entry = book.add(rep(0), None)
    assert entry.faults == 1
    entry.note = "x"
    again = book.add(replace(rep(0), end_s=99.0), None)
    assert (again.faults, again.note, again.rep.end_s) == (1, "x", 99.0)
    assert len(book.entries) == 1


def test_an_earlier_session_can_be_compared_with() -> None:
    earlier = Track(7, np.zeros(3), np.zeros(3), 1, label="2026-05-01")
    book = Book(earlier)
    assert book.possible() == [Choice.EARLIER, Choice.NONE]
    assert book.reference(Choice.EARLIER) is earlier
    assert "2026-05-01" in words.reference_name(Choice.EARLIER, earlier)


def test_a_rep_that_could_not_be_judged_counts_neither_way(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    """It is told, is no curve to compare with, and no key makes it count."""
    void = replace(rep(1, features={}, start_s=61.6), void="pelvis: its sensor restarted")
    show(bay, angles(grid(60, 64)), rep(0), void)
    assert said(bay) == "Rep 2 does not count: pelvis: its sensor restarted"
    assert bay.view.book.entries[1].track is None
    assert [one.rep.index for one in bay.view.book.counted] == [0]
    for key in (Qt.Key.Key_G, Qt.Key.Key_D):
        qtbot.keyClick(bay, key)
        assert said(bay) == phrase("void_stays", number=2)
    assert asked == []
    best = bay.view.book.best()
    assert best is not None
    assert best.rep.index == 0
    assert {mark.number for mark in bay.view._times} == {1}


def test_a_void_rep_in_a_pause_is_not_discarded_too(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    qtbot.keyClick(bay, Qt.Key.Key_P)
    asked.clear()
    show(bay, angles(grid(60, 64)), replace(rep(0, features={}), void="pelvis: its sensor restarted"))
    assert asked == []


# ── results when they are due ────────────────────────────────────────────────────────────────────────────────────


def block(role: Role, *, estimate: bool = False) -> BlockBegun:
    return BlockBegun(60.0, "now", role, "swing", Mode.NONE, 1.0, estimate)


def shown_texts(window: BayWindow) -> str:
    """Everything that can be read on either screen."""
    labels = [one.text() for one in (*window.findChildren(QLabel), *window.second.findChildren(QLabel))]
    rows = [" ".join(texts(window.view.table, k)) for k in range(window.view.table.reps)]
    marks = [view.marks.accessibleName() for view in window.ranges]
    return "\n".join(labels + rows + marks)


@pytest.mark.parametrize("role", [Role.BASELINE, Role.TEST])
def test_a_baseline_or_test_shows_nothing_of_its_result_before_it_is_over(bay: BayWindow, role: Role) -> None:
    show(bay, block(role), angles(grid(60, 64)))
    bay._show_reps()
    before = shown_texts(bay)
    show(bay, state(Motion.STALLED), rep(0), finding(0), rep(1), finding(1, Verdict.UNSURE))
    during = shown_texts(bay)
    assert during.replace(phrase("rep_done", number=2), "") == before.replace(said(bay), "").replace(
        phrase("block_begun", name="now"), ""
    )
    assert bay.view.panel.state.shown is bay.range.shown is PanelState.UNTOLD
    assert bay.view.table.reps == 0
    assert bay.range.number.text() == numerals.UNKNOWN
    assert not bay.range.marks.signs
    show(bay, block(Role.SWINGS))
    assert bay.view.table.reps == 2
    assert [sign for sign, *_ in bay.range.marks.signs] == [PaintedSign.CROSS, PaintedSign.RING]
    assert bay.range.number.text() != numerals.UNKNOWN


def test_the_end_of_the_session_shows_the_results_of_its_test(bay: BayWindow) -> None:
    show(bay, block(Role.TEST), rep(0), finding(0))
    bay.feed.finish()
    show(bay)
    assert bay.view.table.reps == 1


def test_a_rep_of_a_test_can_be_discarded_unseen(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    show(bay, block(Role.TEST), rep(0), finding(0))
    qtbot.keyClick(bay, Qt.Key.Key_D)
    assert asked == [("discard", {"rep": 0, "on": True})]
    show(bay, block(Role.SWINGS))
    assert bay.view.book.counted == []


@pytest.mark.parametrize(
    ("key", "answer"), [(Qt.Key.Key_1, "good"), (Qt.Key.Key_2, "fault"), (Qt.Key.Key_3, "do not know")]
)
def test_an_estimate_is_asked_for_and_one_key_answers(
    bay: BayWindow, qtbot: QtBot, asked: Asked, key: Qt.Key, answer: str
) -> None:
    show(bay, block(Role.SWINGS, estimate=True), angles(grid(60, 64)), rep(4), finding(4))
    assert bay.range.shown is PanelState.ASKING
    assert bay.view.table.reps == 0
    qtbot.keyClick(bay, key)
    assert asked == [("estimate", {"rep": 4, "answer": answer})]
    show(bay, SelfEstimate(64.0, 4, answer))
    assert bay.view.table.reps == 1
    assert bay.range.shown is not PanelState.ASKING


def test_an_estimate_that_does_not_come_times_out(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    bay.coach._waiting.setInterval(20)
    show(bay, block(Role.SWINGS, estimate=True), rep(4), finding(4))
    qtbot.waitUntil(lambda: bool(asked), timeout=2000)
    assert asked == [("estimate", {"rep": 4, "answer": "no answer"})]


def test_a_key_that_nobody_asked_for_says_so(bay: BayWindow, qtbot: QtBot, asked: Asked) -> None:
    show(bay, rep(0))
    qtbot.keyClick(bay, Qt.Key.Key_1)
    assert said(bay) == phrase("nothing_asked")
    assert asked == []


def test_a_block_is_said_large_on_both_screens(bay: BayWindow) -> None:
    show(bay, block(Role.TEST))
    assert [one.text().splitlines()[0] for one in bay.banners] == ["now", "now"]
    assert bay.banners[0].isVisible()


def test_the_coach_can_read_why_feedback_comes_when_it_does() -> None:
    text = purposes_text()
    assert all(one.source.split(":")[0][:20] in text.replace("&amp;", "&") for one in PURPOSES.values())


# ── limits that belong to someone ────────────────────────────────────────────────────────────────────────────────

FALLS = "trail-thigh-keeps-falling"
OWN = f"format = 1\n[limits]\n{FALLS} = 7.0"


@pytest.fixture
def kept() -> list[tuple[str, float | None]]:
    return []


@pytest.fixture
def robins(make_bay: MakeBay, asked: Asked, kept: list[tuple[str, float | None]]) -> BayWindow:
    return make_bay(
        on_command=lambda command: asked.append((verb_of(command), args_of(command))),
        rule_set=SWING,
        own_limits=OWN,
        keeper=Keeper("Robin", lambda key, value: kept.append((key, value))),
    )


def open_limits(window: BayWindow) -> LimitsDialog:
    window.coach.ask_limits(window, 1.0)
    return window.findChildren(LimitsDialog)[-1]


def test_limits_are_shown_with_their_origin(robins: BayWindow) -> None:
    dialog = open_limits(robins)
    assert dialog.origins[FALLS].text() == words.origin(Whose.PLAYER)
    assert dialog.origins["trail-thigh-never-grows"].text() == words.origin(None)
    assert dialog.origins["knees-cross"].text() == words.origin(None, baseline=True)
    assert dialog.fields[FALLS].value() == 7.0


def test_a_rule_that_the_players_own_baseline_judges_shows_no_number_until_there_is_a_target(
    robins: BayWindow, asked: Asked
) -> None:
    dialog = open_limits(robins)
    field = dialog.fields["lead-hip-turns-in"]
    assert field.text() == phrase("own_baseline")
    assert dialog.origins["lead-hip-turns-in"].text() == phrase("no_target")
    field.stepUp()
    assert field.text() == "35.5°"
    field.editingFinished.emit()
    assert asked[-1] == ("limit", {"key": "lead-hip-turns-in", "value": 35.5})
    assert dialog.origins["lead-hip-turns-in"].text() == words.origin(Whose.TODAY)
    dialog.back["lead-hip-turns-in"].click()
    assert field.text() == phrase("own_baseline")
    assert dialog.origins["lead-hip-turns-in"].text() == phrase("no_target")
    dialog.accept()
    assert asked[-1] == ("limit", {"key": "lead-hip-turns-in", "value": 35.0}), "nothing is sent that was not changed"


def test_a_limit_of_today_survives_the_next_block_and_is_not_kept(robins: BayWindow, asked: Asked, kept: list) -> None:
    dialog = open_limits(robins)
    dialog.fields[FALLS].setValue(9.0)
    dialog.accept()
    assert asked == [("limit", {"key": FALLS, "value": 9.0})]
    assert kept == []
    robins.coach.show_rule_set(resources.text("drills", "full-swings"))
    assert (robins.coach.limits[FALLS].value, robins.coach.limits[FALLS].whose) == (9.0, Whose.TODAY)


def test_a_limit_for_the_player_is_kept(robins: BayWindow, asked: Asked, kept: list) -> None:
    dialog = open_limits(robins)
    dialog.keep.setChecked(True)
    dialog.fields["turns-in-the-hips"].setValue(0.4)
    dialog.accept()
    assert kept == [("turns-in-the-hips", 0.4)]
    assert asked == [("limit", {"key": "turns-in-the-hips", "value": 0.4, "keep": True})]
    assert robins.coach.limits["turns-in-the-hips"].whose is Whose.PLAYER


def test_a_limit_can_be_put_back(robins: BayWindow, asked: Asked, kept: list) -> None:
    usual = robins.coach.limits[FALLS].usual
    dialog = open_limits(robins)
    dialog.fields[FALLS].setValue(9.0)
    dialog.back[FALLS].click()
    assert asked[-1] == ("limit", {"key": FALLS, "value": 7.0})
    assert robins.coach.limits[FALLS].whose is Whose.PLAYER
    dialog.keep.setChecked(True)
    robins.coach.ask_limits(robins, 1.0)
    dialog = robins.findChildren(LimitsDialog)[-1]
    dialog.keep.setChecked(True)
    dialog.back[FALLS].click()
    assert kept == [(FALLS, None)]
    assert asked[-1] == ("limit", {"key": FALLS, "value": usual, "keep": True})
    assert robins.coach.limits[FALLS].whose is None


def test_where_nobody_is_known_a_limit_is_for_today(bay: BayWindow) -> None:
    assert not open_limits(bay).keep.isVisible()


# ── limits, explained ────────────────────────────────────────────────────────────────────────────────────────────


def test_every_limit_that_ships_has_a_sentence_and_its_origin(bay: BayWindow) -> None:
    for kind in ("rules", "drills"):
        for name in resources.available(kind):
            for key in limits_of(resources.text(kind, name)):
                assert words.limit_meaning(key, "") != "", key
    dialog = open_limits(bay)
    assert set(dialog.meanings) == set(bay.coach.limits)
    assert all(label.text() for label in dialog.meanings.values())
    dialog.close()


def test_only_limits_of_what_is_worn_are_shown(bay: BayWindow) -> None:
    everything = bay.coach.limits
    assert {"knees-cross", "lead-knee-gives"} <= set(everything)
    three = of_worn(everything, {Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH})
    assert set(everything) - set(three) == {"knees-cross", "lead-knee-gives"}
    assert of_worn(everything, {Segment.PELVIS, Segment.LEFT_SHANK}) == everything


def test_ctrl_b_puts_the_limit_back_that_has_the_keyboard(robins: BayWindow, qtbot: QtBot) -> None:
    dialog = open_limits(robins)
    field = dialog.fields[FALLS]
    field.setValue(9.0)
    field.setFocus()
    qtbot.waitUntil(field.hasFocus, timeout=1000)
    qtbot.keyClick(field, Qt.Key.Key_B, Qt.KeyboardModifier.ControlModifier)
    assert field.value() == 7.0, "the player's own lies beneath a change of today"
    dialog.close()


def test_todays_reps_stand_beside_their_limit(robins: BayWindow) -> None:
    robins.feed.push([angles(grid(60, 64)), replace(rep(0), features={"trail_thigh_flat_turn_deg": 3.0})])
    robins.feed.push([replace(rep(1), features={"trail_thigh_flat_turn_deg": 9.0})])
    robins._hear()
    spread = open_limits(robins).spreads[FALLS]
    assert spread.values == [3.0, 9.0]
    assert "2 reps" in spread.accessibleName()
    assert spread.place(3.0) < spread.place(spread.limit) < spread.place(9.0)
    spread.window().close()


def test_a_panel_is_one_file_that_the_bay_view_finds_by_itself(
    make_bay: MakeBay, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "found_by_itself.py").write_text(
        "from PySide6.QtWidgets import QLabel, QVBoxLayout\n"
        "from imufeedback.app.panels import BayPanel\n"
        "class Panel(BayPanel):\n"
        "    def __init__(self):\n"
        "        super().__init__()\n"
        "        self.words = QLabel()\n"
        "        QVBoxLayout(self).addWidget(self.words)\n"
        "    def show_book(self, book, choice):\n"
        "        self.words.setText(f'{len(book.counted)} counted')\n"
        "    def rescale(self, scale):\n"
        "        pass\n"
    )
    monkeypatch.setattr(panels, "__path__", [*panels.__path__, str(tmp_path)])
    bay = make_bay()
    show(bay, angles(grid(60, 64)), rep(0), rep(1, start_s=61.6))
    assert [one.text() for one in bay.view.panels[-1].findChildren(QLabel)] == ["2 counted"]
    assert bay.view.panels[-1].isVisible()
