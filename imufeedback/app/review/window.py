"""The review window: what was felt at the range, looked at in peace.

Left the sessions; right the reps laid over each other, the figure, the table; below them playback.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QCloseEvent, QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QMainWindow,
    QPushButton,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from imufeedback import resources
from imufeedback.app import keys, numerals, palette, words
from imufeedback.app.body_view import BodyView
from imufeedback.app.common_keys import add_common_keys, add_keys
from imufeedback.app.dialogs import NoteDialog
from imufeedback.app.keys import Screen
from imufeedback.app.labels import TARGET, MessageLine, pixel_font, scale_of
from imufeedback.app.limits import TARGET as TARGET_LIMIT
from imufeedback.app.limits import limits_of
from imufeedback.app.look import look
from imufeedback.app.report_writing import ReportWriter
from imufeedback.app.review.judge_thread import JudgeThread
from imufeedback.app.review.lesson import SLIDER, LessonBar
from imufeedback.app.review.model import (
    ALIGNED,
    PlaybackClock,
    against_turn,
    changed,
    cues_between,
    overlay,
    place_word,
    pose_at,
    quantities,
    same_place,
    stretch_of,
)
from imufeedback.app.review.pictures import OverlayPlot
from imufeedback.app.review.rep_list import RepList
from imufeedback.app.review.trends import TrendPage
from imufeedback.app.review.video import VideoPanel, how_to_get_films
from imufeedback.app.scrolling import Pages, scrolled
from imufeedback.app.text_size import text_size
from imufeedback.document import JudgedRep
from imufeedback.errors import ImuFeedbackError
from imufeedback.figure.drawing import DrawnExtras, View
from imufeedback.phrases import phrase
from imufeedback.record import unfinished
from imufeedback.record.files import name_key
from imufeedback.record.library import Library
from imufeedback.record.library.edits import add_edit
from imufeedback.record.library.library import SessionRow
from imufeedback.record.trace import Stretch
from imufeedback.records import Floats, Hand
from imufeedback.report.story import best, counted
from imufeedback.review.reporting import Judgement, trail_column

FRAME_MS = 33
STEP_S = 0.02
"""By the arrow keys."""
REASONS = 3
"""Reps that do not count whose reasons stand under the title; all have theirs in the table."""


class ReviewWindow(QMainWindow):
    """Review of a library. `play` sounds a cue; it gets its name."""

    def __init__(self, library: Library, *, play: Callable[[str], None] = lambda sound: None) -> None:
        super().__init__()
        self._library, self._play = library, play
        self._work = tempfile.TemporaryDirectory(prefix="imufeedback-review-")
        unfinished.begin(Path(self._work.name))
        self.judge = JudgeThread(Path(self._work.name))
        self.found: Judgement | None = None
        self._played: JudgedRep | None = None
        self._stretch: Stretch | None = None
        self._beside: tuple[JudgedRep, Stretch] | None = None
        """The other rep, and what was measured of it."""
        self.playback = PlaybackClock()
        self._make_widgets()
        self._arrange()
        self._listen()
        self.show_players()

    # ── set-up ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _make_widgets(self) -> None:
        self.player, self.sessions = QComboBox(), QListWidget()
        self.title, self.facts = QLabel(), QLabel()
        self.facts.setWordWrap(True)
        self.quantity, self.position, self.view, self.rules = (QComboBox() for _ in range(4))
        self.search = QLineEdit()
        self.search.setPlaceholderText(phrase("search_hint"))
        self.search.setClearButtonEnabled(True)
        self.lesson = LessonBar()
        self.other_figure = BodyView(Hand.RIGHT, (View.PELVIS,))
        self.other_figure.hide()
        self.writer = ReportWriter(self)
        for box in (self.quantity, self.position, self.view, self.rules):
            box.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.position.addItems(
            [
                *(f"{phrase('review.at')} {one.removesuffix('_s')}" for one in ALIGNED),
                phrase("review.turn_instead_of_time"),
            ]
        )
        self.view.addItems([words.view_word(one) for one in View])
        self.view.setCurrentIndex(list(View).index(View.PELVIS))
        self.rules.addItems([phrase("review.rules_of_the_recording"), *resources.available("rules")])
        self.overlay, self.figure, self.reps = OverlayPlot(), BodyView(Hand.RIGHT, (View.PELVIS,)), RepList()
        self.trends, self.video = TrendPage(self._library), VideoPanel()
        self.play_button = QPushButton(phrase("review.play_space"))
        self.now = QLabel()
        self.note, self.discard, self.all_reps, self.film = (
            QPushButton(phrase(f"review.button.{one}")) for one in ("note", "discard", "all_reps", "film")
        )
        self.report = QPushButton(phrase("report_button"))
        names = {
            self.player: phrase("review.player"),
            self.sessions: phrase("review.sessions_newest_first"),
            self.quantity: phrase("review.show"),
            self.position: phrase("review.aligned"),
            self.rules: phrase("review.judged_by"),
            self.view: phrase("review.figure"),
            self.search: phrase("search_name"),
        }
        for widget, name in names.items():
            widget.setAccessibleName(name)
        self.film.setVisible(not self.video.can_play)
        self.video.setVisible(self.video.can_play)
        self.messages = MessageLine()

    def _arrange(self) -> None:
        self.setWindowTitle(phrase("review.imufeedback_review"))
        self.setMinimumSize(900, 560)
        self.resize(1360, 860)
        tabs = QTabWidget()
        tabs.addTab(self._session_page(), phrase("review.session"))
        tabs.addTab(self.trends, phrase("review.trends"))
        sides = QSplitter()
        sides.addWidget(self._left())
        sides.addWidget(tabs)
        sides.setStretchFactor(1, 1)
        sides.setSizes([290, 1070])
        page = QWidget()
        column = QVBoxLayout(page)
        column.addWidget(sides, 1)
        column.addWidget(self.messages)
        self.pages = Pages()
        self.pages.addWidget(page)
        self.setCentralWidget(scrolled(self.pages))

    def _left(self) -> QWidget:
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, 6, 0)
        column.addWidget(QLabel(phrase("review.player")))
        column.addWidget(self.player)
        column.addWidget(self.search)
        column.addWidget(QLabel(phrase("review.sessions_newest_first")))
        self.sessions.setWordWrap(True)
        column.addWidget(self.sessions, 1)
        return left

    def _session_page(self) -> QWidget:
        page = QWidget()
        column = QVBoxLayout(page)
        self.title.setFont(pixel_font(18, bold=True))
        column.addWidget(self.title)
        column.addWidget(self.facts)
        choices = QHBoxLayout()
        for text, box in (
            (phrase("review.show"), self.quantity),
            (phrase("review.aligned"), self.position),
            (phrase("review.checked_by"), self.rules),
        ):
            choices.addWidget(QLabel(text))
            choices.addWidget(box)
        choices.addStretch(1)
        choices.addWidget(QLabel(phrase("review.figure")))
        choices.addWidget(self.view)
        column.addLayout(choices)
        pictures = QSplitter()
        for widget, stretch in ((self.overlay, 5), (self.figure, 3), (self.other_figure, 3), (self.video, 2)):
            pictures.addWidget(widget)
            pictures.setStretchFactor(pictures.count() - 1, stretch)
        pictures.setSizes([520, 300, 300, 210])
        upper = QSplitter(Qt.Orientation.Vertical)
        upper.addWidget(pictures)
        upper.addWidget(self.reps)
        upper.setSizes([430, 240])
        column.addWidget(upper, 1)
        column.addWidget(self.lesson)
        bar = QHBoxLayout()
        for part in (self.play_button, self.now, self.all_reps, self.discard, self.note, self.report, self.film):
            bar.addWidget(part, 1 if part is self.now else 0)
        column.addLayout(bar)
        return page

    def _listen(self) -> None:
        self.player.currentIndexChanged.connect(lambda *_: self.show_sessions())
        self.sessions.currentRowChanged.connect(lambda *_: self._open_current())
        self.judge.done.connect(self.show_judgement, Qt.ConnectionType.QueuedConnection)
        self.judge.failed.connect(self._show_failure, Qt.ConnectionType.QueuedConnection)
        self.judge.progress.connect(self._show_progress, Qt.ConnectionType.QueuedConnection)
        self.rules.activated.connect(lambda *_: self._open_current())
        for box in (self.quantity, self.position):
            box.currentIndexChanged.connect(lambda *_: self._draw_lines())
        self.view.currentIndexChanged.connect(lambda at: self.figure.show_views(list(View)[at]))
        self.search.textChanged.connect(lambda *_: self.show_sessions())
        self.lesson.beside_changed.connect(self._show_beside)
        self.lesson.speed_changed.connect(self._set_speed)
        self.lesson.moved.connect(self._scrub)
        self.lesson.position_wanted.connect(self._go_to)
        self.report.clicked.connect(lambda *_: self._write_report())
        self.writer.written.connect(self._show_written)
        self.reps.chosen.connect(self._show_chosen)
        self.play_button.clicked.connect(lambda *_: self._toggle())
        self.note.clicked.connect(lambda *_: self._ask_note())
        self.discard.clicked.connect(lambda *_: self._discard())
        self.all_reps.clicked.connect(lambda *_: self.reps.select_all())
        self.film.clicked.connect(lambda *_: self.messages.show_notice(how_to_get_films()))
        self.video.changed.connect(lambda path, offset_s: self._edit("video", text=path, offset_s=offset_s))
        add_common_keys(self, Screen.REVIEW)
        slots: dict[str, Callable[[], object]] = {
            "play": self.play_button.click,
            "back": lambda: self._step(-1),
            "forward": lambda: self._step(1),
            "report": self._write_report,
            "note": self._ask_note,
            "all": self.reps.select_all,
            "find": self.search.setFocus,
            "close": self.close,
        }
        for one in keys.on(Screen.REVIEW):
            add_keys(self, one, slots[one.name])
        text_size.changed.connect(self.rescale)
        look.changed.connect(self._restyle)
        self._restyle()
        self._frames = QTimer(self)
        self._frames.timeout.connect(self._frame)
        self._frames.start(FRAME_MS)

    # ── sessions ─────────────────────────────────────────────────────────────────────────────────────────────────

    def show_players(self) -> None:
        """Fill the list of players; the first one's sessions are shown."""
        self.player.blockSignals(True)
        self.player.clear()
        for name, count in self._library.players():
            self.player.addItem(f"{name or phrase('review.without_a_name')}  ({count})", name)
        self.player.blockSignals(False)
        self.show_sessions()

    def show_sessions(self) -> None:
        """The chosen player's sessions, newest first; the newest readable one is opened."""
        name, wanted = self.player.currentData(), self.search.text().casefold().split()
        self.sessions.blockSignals(True)
        self.sessions.clear()
        spoken = self._library.spoken() if wanted else {}
        # a search looks at all players: one may not know whose session it was
        for one in reversed(self._library.sessions(None if wanted else name)):
            if not all(word in spoken.get(one.path, "").casefold() for word in wanted):
                continue
            item = QListWidgetItem(session_words(one))
            item.setData(Qt.ItemDataRole.UserRole, one)
            self.sessions.addItem(item)
        troubles = () if wanted else self._library.troubles
        for line in troubles:
            told = QListWidgetItem(f"! {line}")
            told.setFlags(Qt.ItemFlag.NoItemFlags)
            self.sessions.addItem(told)
        self.sessions.blockSignals(False)
        self.trends.show_player(name)
        if self.sessions.count() > len(troubles):
            self.sessions.setCurrentRow(0)
            self._open_current()
        elif wanted:
            self.messages.show_notice(phrase("nothing_found", what=self.search.text()))
        else:
            self.title.setText(phrase("no_recordings"))
            self.facts.setText(phrase("no_recordings_help", root=str(self._library.root)))

    def open(self, path: Path) -> None:
        """Choose the session of a recording, with its player."""
        for row in self._library.sessions():
            if row.path.resolve() == path.resolve():
                names = [name_key(self.player.itemData(at)) for at in range(self.player.count())]
                self.player.setCurrentIndex(names.index(name_key(row.player)))
                for at in range(self.sessions.count()):
                    shown: SessionRow | None = self.sessions.item(at).data(Qt.ItemDataRole.UserRole)
                    if shown is not None and shown.path == row.path:
                        self.sessions.setCurrentRow(at)

    def _open_current(self) -> None:
        item = self.sessions.currentItem()
        row: SessionRow | None = None if item is None else item.data(Qt.ItemDataRole.UserRole)
        if row is None:
            return
        self._clear()
        self.title.setText(row.title)
        if row.trouble:
            self.facts.setText(phrase("review.this_recording_cannot_be_shown", why=row.trouble))
            return
        self.facts.setText(phrase("review.checking"))
        name = self.rules.currentText()
        rule_set = resources.text("rules", name) if self.rules.currentIndex() > 0 else None
        self.judge.ask(row.path, rule_set)

    def _clear(self) -> None:
        self.found = self._played = self._stretch = None
        self._target_deg: float | None = None
        self.playback.load(0.0, 0.0)
        self.reps.show_reps([])
        self.overlay.show_lines([], None, "", "")
        self.figure.show_pose(None, DrawnExtras())
        self.other_figure.show_pose(None, DrawnExtras())
        self._beside = None

    def _show_failure(self, text: str) -> None:
        self.facts.setText(text)
        self.messages.show_fault(text)

    def _show_progress(self, seconds: float) -> None:
        if self.found is None:
            self.facts.setText(phrase("review.checking_done", at=numerals.clock_time(seconds)))

    def show_judgement(self, found: Judgement) -> None:
        """A session is ready."""
        self.found = found
        limits = limits_of(found.settings.rule_set)
        self._target_deg = limits[TARGET_LIMIT].value if TARGET_LIMIT in limits else None
        self.title.setText(f"{found.title} · {found.player or phrase('review.without_a_name')}")
        self.facts.setText("\n".join(facts(found)))
        self._refresh_list()
        before, column = self.quantity.currentText(), quantities(found.hand)
        self.quantity.blockSignals(True)
        self.quantity.clear()
        self.quantity.addItems(list(column))
        self.quantity.setCurrentIndex(max(self.quantity.findText(before), 0))
        self.quantity.blockSignals(False)
        self.video.load(found.edits.video)
        counting = counted(found.summary.reps)
        first = best(counting)
        self.lesson.show_reps(counting, first[0].rep.index if first else None)
        self.reps.show_reps([rep for rep in found.summary.reps if not rep.discarded])
        self._show_chosen()

    def _refresh_list(self) -> None:
        """What the list says of sessions that have changed; their order stays."""
        self._library.refresh()
        rows = {one.path: one for one in self._library.sessions(self.player.currentData())}
        for at in range(self.sessions.count()):
            item = self.sessions.item(at)
            shown: SessionRow | None = item.data(Qt.ItemDataRole.UserRole)
            row = None if shown is None else rows.get(shown.path)
            if row is not None:
                item.setData(Qt.ItemDataRole.UserRole, row)
                item.setText(session_words(row))
        self.trends.show_player(self.player.currentData())

    # ── pictures ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _show_chosen(self) -> None:
        chosen = self.reps.selected()
        if self.found is None or not chosen:
            self.overlay.show_lines([], None, "", "")
            return
        self._played = chosen[-1]
        self._stretch = stretch_of(self.found.trace, self._played)
        times = self._stretch.t_s
        self.playback.load(*((float(times[0]), float(times[-1])) if len(times) else (0.0, 0.0)))
        position = ALIGNED[min(self.position.currentIndex(), len(ALIGNED) - 1)]
        self.playback.seek(self._played.positions.get(position, self.playback.begin_s))
        self.lesson.show_marks(self._played)
        impacts = [one.positions["impact_s"] for one in self.found.summary.reps if "impact_s" in one.positions]
        self.video.show_rep(self.playback.begin_s, self.playback.end_s, impacts, self._played.positions.get("impact_s"))
        self._show_beside()

    def _show_beside(self) -> None:
        """The chosen other rep over the played one, or in a picture of its own."""
        self._beside = None
        if self.found is not None and self.lesson.other is not None:
            other = next((one for one in self.found.summary.reps if one.index == self.lesson.other), None)
            if other is not None and other is not self._played:
                self._beside = other, stretch_of(self.found.trace, other)
        self.other_figure.setVisible(self._beside is not None and self.lesson.apart.isChecked())
        self._draw_lines()

    def _pose_beside(self, now_s: float) -> Floats | None:
        """The other rep's body as far in its movement as the played one is."""
        if self._beside is None or self._played is None or not len(self._beside[1].t_s):
            return None
        other, stretch = self._beside
        at_s = same_place(self._played, other, now_s)
        return pose_at(stretch, int(np.clip(np.searchsorted(stretch.t_s, at_s), 0, len(stretch.t_s) - 1)))

    def _draw_lines(self) -> None:
        if self.found is None or self._played is None:
            return
        name, column = list(quantities(self.found.hand).items())[max(self.quantity.currentIndex(), 0)]
        chosen, at = self.reps.selected(), self.position.currentIndex()
        if self._beside is not None and self._beside[0] not in chosen:
            chosen = [*chosen, self._beside[0]]
        why = None
        if at < len(ALIGNED):
            position = ALIGNED[at].removesuffix("_s")
            lines = overlay(self.found.trace, chosen, column, ALIGNED[at])
            x_title = phrase("review.seconds_from", position=position)
            why = phrase("review.nothing_to_line_up", position=position)
        else:
            lines = against_turn(self.found.trace, chosen, column)
            x_title = phrase("review.pelvis_turn_degrees_towards_the")
        self.overlay.show_lines(lines, self._played.index, x_title, phrase("review.degrees", name=name), why)
        self._show_instant()

    def _show_instant(self) -> None:
        if self.found is None or self._stretch is None or self._played is None or not len(self._stretch.t_s):
            return
        now_s = self.playback.now_s
        row = int(np.clip(np.searchsorted(self._stretch.t_s, now_s), 0, len(self._stretch.t_s) - 1))
        hand, pose = self.found.hand, pose_at(self._stretch, row)
        if self.figure.hand is not hand:
            self.figure.show_hand(hand)
        spreads = (float(self._stretch.sd(one)[row]) for one in (trail_column(hand), "pelvis_turn_deg"))
        angle_sd, turn_sd = (one if np.isfinite(one) else None for one in spreads)
        other, apart = self._pose_beside(now_s), self.lesson.apart.isChecked()
        shanks = bool(np.isfinite(pose[-2:]).any())
        name = "" if self._beside is None or apart else phrase("rep_name", number=self._beside[0].index + 1)
        self.figure.show_pose(
            pose, DrawnExtras(self._target_deg, angle_sd, turn_sd, None if apart else other, shanks=shanks), name
        )
        if self.other_figure.hand is not hand:
            self.other_figure.show_hand(hand)
        self.other_figure.show_pose(other, DrawnExtras(self._target_deg, shanks=shanks))
        at = self.position.currentIndex()
        if at < len(ALIGNED):
            position_s = self._played.positions.get(ALIGNED[at])
            self.overlay.show_cursor(None if position_s is None else now_s - position_s)
        else:
            self.overlay.show_cursor(float(self._stretch.angle("pelvis_turn_deg")[row]))
        span_s = max(self.playback.end_s - self.playback.begin_s, 1e-9)
        self.lesson.show_place((now_s - self.playback.begin_s) / span_s)
        place = place_word(self._played, now_s)
        said = phrase("review.rep_s", number=self._played.index + 1, at=now_s)
        self.now.setText(f"{said} · {place}" if place else said)

    # ── playback ─────────────────────────────────────────────────────────────────────────────────────────────────

    def _go_to(self, mark: str) -> None:
        """To a marked position of the played rep; it stands still there."""
        if self._played is not None and mark in self._played.positions:
            self.playback.running = False
            self.playback.seek(self._played.positions[mark])
            self._show_instant()
            self._say_playing()

    def _step(self, by: int) -> None:
        """One picture on or back."""
        self.playback.running = False
        self.playback.seek(self.playback.now_s + by * STEP_S)
        self._show_instant()
        self._say_playing()

    def _set_speed(self, speed: float) -> None:
        self.playback.speed = speed
        self.video.follow(self.playback.now_s, self.playback.speed, self.playback.running)

    def _toggle(self) -> None:
        self.playback.toggle()
        self._say_playing()

    def _say_playing(self) -> None:
        self.play_button.setText(phrase("review.pause_space") if self.playback.running else phrase("review.play_space"))
        self.video.follow(self.playback.now_s, self.playback.speed, self.playback.running)

    def _scrub(self, value: int) -> None:
        self.playback.seek(self.playback.begin_s + (self.playback.end_s - self.playback.begin_s) * value / SLIDER)
        self._show_instant()
        self.video.follow(self.playback.now_s, self.playback.speed, self.playback.running)

    def _frame(self) -> None:
        self.messages.tidy()
        if not self.playback.running:
            return
        before_s, now_s = self.playback.advance(time.monotonic())
        if self.found is not None:
            for sound in cues_between(self.found.summary.reps, before_s, now_s):
                self._play(sound)
        self._show_instant()
        if not self.playback.running:
            self._say_playing()

    # ── edits ────────────────────────────────────────────────────────────────────────────────────────────────────

    def _ask_note(self) -> None:
        """With the rep and the position that is seen; it stands in the report."""
        place = "" if self._played is None else place_word(self._played, self.playback.now_s)
        before = words.note_at(None if self._played is None else self._played.index, place)
        dialog = NoteDialog(self, scale_of(self), None)
        dialog.text.setText(before)
        dialog.noted.connect(lambda text: self._edit("note", text=text))
        dialog.open()

    def _write_report(self) -> None:
        if self.found is not None:
            self.messages.show_notice(phrase("report_making"))
            self.report.setEnabled(False)
            self.writer.write(self.found.path)

    def _show_written(self, where: str, trouble: str) -> None:
        self.report.setEnabled(True)
        self.messages.show_fault(trouble) if trouble else self.messages.show_notice(
            phrase("report_written", path=where)
        )

    def _discard(self) -> None:
        """Chosen reps out; when none is chosen, all that are out come in again."""
        if self.found is None:
            return
        chosen = self.reps.selected()
        for rep in chosen:
            self._edit("discard", rep=rep.index)
        if not chosen:
            for index in sorted(self.found.discarded):
                self._edit("keep", rep=index)
        self._open_current()

    def _edit(self, verb: str, *, text: str = "", rep: int | None = None, offset_s: float | None = None) -> None:
        if self.found is None:
            return
        try:
            add_edit(self.found.path, verb, text=text, rep=rep, offset_s=offset_s)
            self._library.refresh()
        except ImuFeedbackError as error:
            self.messages.show_fault(str(error))
        else:
            self.messages.show_notice(phrase("review.kept_beside_the_recording"))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self.rescale()

    def _restyle(self) -> None:
        """Colours of the look that was chosen."""
        self.rescale()
        for figure in (self.figure, self.other_figure):
            figure.show_theme(look.theme)
        self.reps.restyle()
        self.trends.restyle()
        self._draw_lines()

    def rescale(self) -> None:
        """Fit texts to the window and to the size that a person chose."""
        scale = scale_of(self)
        self.setStyleSheet(_sheet(round(13 * scale), max(round(24 * scale), TARGET)))
        self.title.setFont(pixel_font(18 * scale, bold=True))
        self.lesson.rescale(scale)
        self.messages.rescale(scale)
        self.reps.table.setFont(pixel_font(13 * scale))
        self.overlay.setMinimumHeight(round(200 * scale))
        self.reps.setMinimumHeight(round(140 * scale))

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802 – Qt names it
        self._frames.stop()
        self.judge.stop()
        self.found = self._stretch = None
        self._work.cleanup()
        super().closeEvent(event)


def session_words(one: SessionRow) -> str:
    """A session in the list; its own zone is told, for an hour may come twice."""
    when = (
        phrase("review.date_not_known")
        if one.started is None
        else f"{one.started:%Y-%m-%d %H:%M} ({one.started.tzname()})"
    )
    if one.trouble:
        told = phrase("review.cannot_be_read", why=one.trouble)
    elif one.reps is None:
        told = phrase("review.not_checked_yet")
    else:
        told = phrase("review.reps_without_a_fault", reps=one.reps, clean=one.reps - (one.faults or 0))
        told += phrase("review.without_a_result", void=one.void) if one.void else ""
    cut = "" if one.closed or one.trouble else phrase("review.was_cut_off")
    beside = f"\n! {one.beside}" if one.beside else ""
    return f"{when}\n{one.title} · {told}{cut}{beside}"


def facts(found: Judgement) -> list[str]:
    """Lines under the title: how good the data is, and how an older verdict differs."""
    fit = found.summary.calibration
    level = phrase("review.no_calibration") if fit is None else phrase("review.calibration", level=fit.level)
    lines = [phrase("review.checked_by_version", level=level, rules=found.rules, version=found.summary.version)]
    lines += [f"! {note}" for note in found.summary.file_notes]
    void = [rep for rep in found.summary.reps if rep.void]
    lines += [f"! {phrase('void_rep', number=rep.index + 1, reason=rep.void or '')}" for rep in void[:REASONS]]
    if len(void) > REASONS:
        lines.append(phrase("review.more_reps_have_no_result", more=len(void) - REASONS))
    if found.others:
        then = found.others[-1]
        differs = "; ".join(changed(then.summary, found.summary)[:3]) or phrase("review.it_says_the_same")
        head = phrase(
            "review.the_result_of_version_is", day=then.judged_utc[:10], rules=then.rules, version=then.version
        )
        lines.append(head + differs)
    return lines + [f"{phrase('review.note')}: {one}" for one in found.edits.notes[-2:]]


def _sheet(size: int, target: int) -> str:
    return f"""
QMainWindow, QWidget {{ background: {palette.GROUND}; color: {palette.INK}; font-size: {size}px; }}
QPushButton, QComboBox, QLineEdit, QDoubleSpinBox, QTabBar::tab, QCheckBox {{ min-height: {target}px; }}
QTableWidget, QListWidget, QLineEdit, QComboBox {{ background: {palette.PAPER}; }}
QListWidget::item {{ padding: 6px 4px; border-bottom: 1px solid {palette.RULE_LINE}; }}
QListWidget::item:selected, QTableWidget::item:selected {{ background: {palette.SELECTED}; color: {palette.INK}; }}
QHeaderView::section {{ background: {palette.GROUND}; border: none; padding: 4px 6px; }}
"""
