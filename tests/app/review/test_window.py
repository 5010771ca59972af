"""The review window over a small library."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from cut import cut, nameless, small, unreachable
from keys_of import answered, told
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from sessions import steady_session

from imufeedback.app.dialogs import NoteDialog
from imufeedback.app.keys import Screen
from imufeedback.app.review.video import VideoPanel, available, position_ms
from imufeedback.app.review.window import ReviewWindow
from imufeedback.app.text_size import text_size
from imufeedback.record.journal import JournalWriter
from imufeedback.record.library import Library
from imufeedback.record.library.edits import read_edits
from imufeedback.records import Segment
from imufeedback.review.reporting import judgement
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script


@pytest.fixture(name="judged", scope="module")
def a_judged_library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("library")
    with JournalWriter(root / "one.mcap", title="Tuesday") as journal:
        for item in steady_session(make_script(pace=Pace.FULL, reps=2, seed=2)):
            journal.write(item)
    judgement(journal.path, root, keep=True)
    return root


@pytest.fixture(name="window")
def opened(judged: Path, tmp_path: Path, qtbot: QtBot) -> Iterator[ReviewWindow]:
    root = tmp_path / "lib"
    shutil.copytree(judged, root)
    heard: list[str] = []
    with Library(root) as library:
        window = ReviewWindow(library, play=heard.append)
        window.heard = heard  # type: ignore[attr-defined]
        qtbot.addWidget(window)
        qtbot.waitUntil(lambda: window.found is not None, timeout=20_000)
        yield window
        window.close()


def test_a_session_is_shown_with_its_reps(window):
    assert "Tuesday" in window.title.text()
    assert "calibration" in window.facts.text()
    assert window.reps.table.rowCount() == 2
    assert "2 reps" in window.sessions.item(0).text()
    assert [one.rep for one in window.overlay.lines] == [1], "the last rep is chosen"


def test_reps_are_laid_over_each_other_and_against_turn(window):
    window.reps.select_all()
    assert [one.rep for one in window.overlay.lines] == [0, 1]
    window.position.setCurrentIndex(3)
    assert window.overlay.lines[0].x.min() < -20, "pelvis turn, not time"


def test_filter_and_sort(window):
    window.reps.filter.setText("1")
    assert [window.reps.table.isRowHidden(row) for row in range(2)] == [False, True]
    window.reps.filter.setText("")
    window.reps.table.sortByColumn(1, window.reps.table.horizontalHeader().sortIndicatorOrder().DescendingOrder)
    window.reps.table.selectRow(0)
    assert [one.index for one in window.reps.selected()] == [1]


def test_playing_moves_the_figure_and_sounds_the_cues(window):
    window._toggle()
    assert window.playback.running
    rep = window._played
    window.playback._at, window.playback.speed = 0.0, 1.0
    window.playback.seek(rep.start_s - 0.01)
    window.playback._at = 0.0
    before, now = window.playback.advance(rep.end_s - rep.start_s + 5)
    assert now > before
    window._show_instant()
    assert window.figure.pose is not None


def test_scrubbing(window):
    window._scrub(0)
    assert window.playback.now_s == window.playback.begin_s
    window._scrub(1000)
    assert window.playback.now_s == window.playback.end_s


def test_reps_are_taken_out_and_in_again(window, qtbot):
    path = window.found.path
    window.reps.table.selectRow(0)
    window._discard()
    qtbot.waitUntil(lambda: window.found is not None and len(window.reps.reps) == 1, timeout=20_000)
    assert read_edits(path).discarded == {0}
    window.reps.table.clearSelection()
    window._discard()
    qtbot.waitUntil(lambda: window.found is not None and len(window.reps.reps) == 2, timeout=20_000)
    assert read_edits(path).discarded == set()


def test_an_empty_folder_says_so(tmp_path, qtbot):
    with Library(tmp_path) as library:
        window = ReviewWindow(library)
        qtbot.addWidget(window)
        assert window.title.text() == "No recordings yet"
        assert "imufeedback live" in window.facts.text()
        assert str(tmp_path) in window.facts.text()
        window.close()


def test_a_recording_that_cannot_be_read_says_so(tmp_path, qtbot):
    (tmp_path / "bad.mcap").write_bytes(b"no recording")
    with Library(tmp_path) as library:
        window = ReviewWindow(library)
        qtbot.addWidget(window)
        assert "this is no recording" in window.facts.text()
        window.close()


def test_the_place_in_a_film():
    assert position_ms(12.5, 10.0) == 2500
    assert position_ms(5.0, 10.0) == 0


class _Film:
    """A player that notes what it is told."""

    def __init__(self) -> None:
        self.at, self.rate, self.state = 0, 1.0, "paused"

    def position(self) -> int:
        return self.at

    def setPosition(self, at: int) -> None:
        self.at = at

    def setPlaybackRate(self, rate: float) -> None:
        self.rate = rate

    def play(self) -> None:
        self.state = "playing"

    def pause(self) -> None:
        self.state = "paused"


def test_film_and_trace_are_lined_up_by_one_instant(qtbot):
    panel, film = VideoPanel(), _Film()
    qtbot.addWidget(panel)
    panel._player, panel._path = film, "a.mp4"
    film.at = 4000
    panel.follow(30.0, None, None)  # the trace stands at the strike
    film.at = 4000  # the film was moved to the strike by hand
    with qtbot.waitSignal(panel.changed) as told:
        panel._tie()
    assert told.args == ["a.mp4", 26.0]
    panel.follow(31.0, 0.25, True)
    assert (film.at, film.rate, film.state) == (5000, 0.25, "playing")
    film.at = 5030
    panel.follow(31.01, None, True)
    assert film.at == 5030, "a little late is left alone"
    panel.follow(31.5, None, False)
    assert (film.at, film.state) == (5500, "paused")


def test_films_are_offered_only_where_they_can_be_played(window):
    assert window.video.can_play == available()
    assert window.film.isHidden() == available()


def test_bad_files_stand_in_the_list_with_their_reason(judged: Path, tmp_path: Path, qtbot: QtBot) -> None:
    root = tmp_path / "lib"
    shutil.copytree(judged, root)
    (root / "lost.verdicts.json").write_text("{}", encoding="utf-8")
    (root / "one.edits.jsonl").write_text("no line\n", encoding="utf-8")
    (root / "bad.mcap").write_bytes(b"x")
    with Library(root) as library:
        window = ReviewWindow(library)
        qtbot.addWidget(window)
        for name in ("", window.player.itemData(window.player.count() - 1)):
            window.player.setCurrentIndex(window.player.findData(name))
        shown = [window.sessions.item(at).text() for at in range(window.sessions.count())]
        window.open(root / "one.mcap")
        qtbot.waitUntil(lambda: window.found is not None, timeout=20_000)
        window.sessions.setCurrentRow(window.sessions.count() - 1)
        assert "1 damaged" in window.facts.text()
        window.close()
    assert any("lost.verdicts.json: its recording is not there" in line for line in shown)
    assert any("lines passed over: 1 damaged" in line for line in shown)


@pytest.fixture(name="spoilt", scope="module")
def a_library_with_a_void_rep(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The last of two reps lacks samples of the trail thigh."""
    root = tmp_path_factory.mktemp("spoilt")
    script = make_script(pace=Pace.FULL, reps=2, seed=2)
    from_s = script.truth.reps[1].top_s + 0.1
    with JournalWriter(root / "one.mcap", title="Tuesday") as journal:
        for item in steady_session(script, silent=Segment.RIGHT_THIGH, from_s=from_s, to_s=from_s + 0.1):
            journal.write(item)
    judgement(journal.path, root, keep=True)
    return root


def test_a_rep_that_does_not_count_is_marked_and_in_no_overlay(spoilt: Path, qtbot: QtBot) -> None:
    with Library(spoilt) as library:
        window = ReviewWindow(library)
        qtbot.addWidget(window)
        qtbot.waitUntil(lambda: window.found is not None, timeout=20_000)
        assert "1 reps, 1 without a fault, 1 without a result" in window.sessions.item(0).text()
        assert "! Rep 2 does not count: right thigh: samples" in window.facts.text()
        row = window.reps.table
        last = row.item(1, row.columnCount() - 1)
        assert last is not None
        assert last.text().startswith("does not count: right thigh")
        first = row.item(1, 0)
        assert first is not None
        assert first.font().strikeOut()
        assert [one.index for one in window.reps.selected()] == [0], "the last one that counts"
        window.reps.select_all()
        for at in range(window.position.count()):
            window.position.setCurrentIndex(at)
            assert [one.rep for one in window.overlay.lines] == [0]
        row.selectRow(1)
        assert window.overlay.lines == []
        window.playback.seek(window.playback.begin_s)
        window._show_instant()
        window.close()


# ── a lesson ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_another_rep_lies_over_the_played_one_or_stands_beside_it(window):
    assert window.figure.shown.ghost is None
    window.lesson.beside.setCurrentIndex(window.lesson.beside.findData(0))
    window._show_beside()
    assert [one.rep for one in window.overlay.lines] == [1, 0]
    assert window.figure.shown.ghost is not None
    assert window.figure.ghost_name == "rep 1"
    assert window.other_figure.isHidden()
    window.lesson.apart.setChecked(True)
    assert not window.other_figure.isHidden()
    assert window.figure.shown.ghost is None
    first = window.other_figure.pose
    window.lesson.slider.setValue(700)
    assert window.playback.now_s == pytest.approx(
        window.playback.begin_s + 0.7 * (window.playback.end_s - window.playback.begin_s)
    )
    assert not np.array_equal(first, window.other_figure.pose), "one slider moves both"


@pytest.mark.parametrize("mark", ["top_s", "level_s", "impact_s", "finish_s"])
def test_a_marked_position_is_one_press_away(window, mark):
    window.lesson.positions[mark].click()
    assert window.playback.now_s == window._played.positions[mark]
    assert mark.removesuffix("_s") in window.now.text()
    assert not window.playback.running


def test_it_plays_at_any_speed(window):
    for speed in (0.05, 0.35, 2.0):
        window.lesson.speed.setValue(speed)
        assert window.playback.speed == pytest.approx(speed)


def test_keys_of_the_review_are_in_the_table_and_do_what_it_says(window, qtbot):
    assert answered(window) == told(Screen.REVIEW, Screen.ANYWHERE)
    with qtbot.waitActive(window):
        window.show()
        window.activateWindow()
    window.sessions.setFocus()
    at_s = window.playback.now_s
    qtbot.keyClick(window, Qt.Key.Key_Right)
    assert window.playback.now_s > at_s
    qtbot.keyClick(window, Qt.Key.Key_Space)
    assert window.playback.running
    qtbot.keyClick(window, Qt.Key.Key_F, Qt.KeyboardModifier.ControlModifier)
    assert window.search.hasFocus()


def test_r_writes_the_report_with_the_notes_of_the_review(window, qtbot, monkeypatch):
    opened: list[str] = []
    monkeypatch.setattr(
        "imufeedback.app.report_writing.QDesktopServices.openUrl", lambda url: opened.append(url.path())
    )
    window.lesson.positions["impact_s"].click()
    window._ask_note()
    dialog = window.findChild(NoteDialog)
    assert dialog.text.text() == "Rep 2, impact: "
    dialog.text.setText(dialog.text.text() + "stays over the ball")
    qtbot.keyClick(dialog.text, Qt.Key.Key_Return)
    with qtbot.waitActive(window):
        window.show()
        window.activateWindow()
    window.sessions.setFocus()
    with qtbot.waitSignal(window.writer.written, timeout=30_000):
        qtbot.keyClick(window, Qt.Key.Key_R)
    page = window.found.path.with_suffix(".html")
    assert "Rep 2, impact: stays over the ball" in page.read_text(encoding="utf-8")
    assert str(page) in window.messages.text.text()
    assert opened == [page.as_posix()]


def test_sessions_are_searched_by_player_drill_and_fault(window):
    window.search.setText("tues")
    assert window.sessions.count() == 1
    window.search.setText("nothing like it")
    assert window.sessions.count() == 0
    assert "nothing like it" in window.messages.text.text()
    text = next(iter(window._library.spoken().values()))
    window.search.setText(text.split()[-1])
    assert window.sessions.count() == 1


def test_trends_open_on_what_is_worked_on_and_say_it_in_a_sentence(window):
    assert "session" in window.trends.story.text()
    assert "_" not in window.trends.story.text()
    faults = window._library.reps()[0]["rules"].split()
    assert not faults or window.trends.feature.currentData() == window.trends._worked_on(None)[0]


@pytest.mark.parametrize("size", [(1024, 600, 1.0), (1024, 600, 2.0), (1280, 720, 1.0), (3840, 2160, 1.0)])
def test_the_review_cuts_nothing(window, qtbot, size):
    text_size.show(size[2])
    window.resize(*size[:2])
    window.show()
    for _ in range(4):
        QApplication.processEvents()
    assert (window.width(), window.height()) == size[:2]
    assert cut(window) == []
    assert nameless(window) == []
    assert small(window) == []
    assert unreachable(window) == []
