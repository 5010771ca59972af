"""The bay window: what a coach watches while the player swings.

Events come through an `EventFeed`; no other thread touches a widget. Closing is an ordered stop of the session.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtGui import QAction, QCloseEvent, QKeySequence, QResizeEvent
from PySide6.QtWidgets import QMainWindow, QMenu, QMessageBox, QPushButton, QToolTip

from imufeedback.app import palette, words
from imufeedback.app.banner import Banner
from imufeedback.app.bay_view import BayView, newest
from imufeedback.app.cautions import CautionsPage
from imufeedback.app.coach import ANSWERS, TARGET_STEP_DEG, Coach, Keeper, OnCommand
from imufeedback.app.common_keys import common_slots
from imufeedback.app.dialogs import AskStop
from imufeedback.app.feed import TRAIL_THIGH, EventFeed, Snapshot
from imufeedback.app.frame_clock import FRAME_MS, FrameClock, FrameStats
from imufeedback.app.guide_pages import open_guide
from imufeedback.app.keys import Key, Screen, key
from imufeedback.app.keys import on as on_screen
from imufeedback.app.labels import BASE_HEIGHT, BASE_WIDTH, pixel_font, scale_of
from imufeedback.app.limits import own_layers
from imufeedback.app.look import look
from imufeedback.app.purposes import show_purposes
from imufeedback.app.range_view import RangeView
from imufeedback.app.range_window import RangeWindow
from imufeedback.app.rep_table import PADDING, Meaning
from imufeedback.app.scrolling import Pages, scrolled
from imufeedback.app.speaking import Speaking
from imufeedback.app.stopping import STOP_LIMIT_S, OrderedStop
from imufeedback.app.text_size import text_size
from imufeedback.app.traces import SPAN_S
from imufeedback.app.tracks import Track
from imufeedback.commands import Pain, SetZero, SwitchSound
from imufeedback.cues.waveforms import HELD, MEANINGS, SOUNDS
from imufeedback.errors import ImuFeedbackError
from imufeedback.live.lesson import LessonBlock
from imufeedback.phrases import phrase
from imufeedback.records import BlockBegun, Event, Segment, StepTold
from imufeedback.report.guides import names, title_of

NUMBER_MS = 100
"""Numbers change more slowly than the traces, so that they can be read."""
CALM_MS = 500
"""With less motion the traces move twice a second."""
SIZE_KEYS = ("larger", "smaller", "plain")
PACE_STEP_MS = 5
"""The pace of the frames is left alone for smaller changes than this."""


class BayWindow(QMainWindow):
    """Live view of one session.

    Parameters
    ----------
    feed : EventFeed
        Where the events come from; knows the player's hand.
    on_stop : callable
        Ordered stop of the session: called once, in a thread of its own, when the window is closed.
    on_begin : callable, optional
        Called once, when the cautions have been acknowledged.
    on_mute : callable, optional
        Told True when the tones shall be silent.
    on_close : callable, optional
        Called last, with None or one line saying why the stop went wrong.
    on_preview : callable, optional
        Told the name of a sound that the person wants to hear.
    sound_delay : callable, optional
        Gives the running estimate of the delay from motion to sound in milliseconds, or None.
    sound_trouble : callable, optional
        Says why no tone can be heard now; empty while it can.
    recording : str, optional
        Where the recording goes; see also `show_recording`.
    roles : mapping, optional
        Sensor id to the segment it is worn on; see also `show_roles`.
    meaning : callable, optional
        Takes the text of a finding to other words (another language), or None to leave it.
    on_command : callable, optional
        Takes verb and arguments of what the coach does by key, to be journalled.
    rule_set : str
        TOML text of the rule set in use; its limits can be changed.
    own_limits : str
        TOML text of the player's own limits.
    keeper : Keeper, optional
        Keeps a limit for the player; without one a change is for today.
    earlier : Track, optional
        Best rep of an earlier session, to compare with.
    speak : bool
        Say each block aloud; else as it was switched in the menu.
    ask : bool
        Ask before a running session is stopped.
    also : callable
        Hears every rare event too, in the Qt thread.
    stop_limit_s : float
        How long the stop is waited for.
    """

    ended = Signal()
    """The session is over by itself: its recording is closed."""
    stayed = Signal()
    """Asked whether to stop, the person goes on."""

    def __init__(
        self,
        feed: EventFeed,
        *,
        on_stop: Callable[[], None],
        on_begin: Callable[[], None] | None = None,
        on_mute: Callable[[bool], None] | None = None,
        on_close: Callable[[str | None], None] | None = None,
        on_preview: Callable[[str], None] | None = None,
        sound_delay: Callable[[], float | None] = lambda: None,
        sound_trouble: Callable[[], str] = lambda: "",
        recording: str | None = None,
        roles: Mapping[str, Segment] | None = None,
        meaning: Meaning = lambda key: None,
        on_command: OnCommand | None = None,
        rule_set: str = "",
        own_limits: str = "",
        keeper: Keeper | None = None,
        earlier: Track | None = None,
        speak: bool = False,
        ask: bool = False,
        also: Callable[[Event], None] = lambda event: None,
        stop_limit_s: float = STOP_LIMIT_S,
    ) -> None:
        super().__init__()
        self.feed = feed
        self._on_begin, self._on_mute, self._on_close = on_begin, on_mute, on_close
        self._on_preview, self._sound_delay, self._sound_trouble = on_preview, sound_delay, sound_trouble
        self._also, self._ask = also, ask
        self._on_command = on_command or (lambda command: None)
        self._asking: AskStop | None = None
        self._stop = OrderedStop(on_stop, stop_limit_s)
        self._gone = False
        self._clock = FrameClock()
        self._update_s = 0.0
        self._frame_number = 0
        self.cautions = CautionsPage(phrase("agree_button"))
        self.view = BayView(feed.hand, meaning, self._painted, feed.snapshot, earlier, on_body=self._painted_also)
        layers = own_layers(rule_set, own_limits)
        self.coach = Coach(self.view, self._on_command, layers=layers, keeper=keeper)
        side = words.side_word(feed.hand.trail)
        self.range = RangeView(side, feed.hand)
        self.second = RangeWindow(side, feed.hand)
        self.pages = Pages()
        self.banners = (Banner(self.pages), Banner(self.second))
        self.speaking = Speaking(self, self.view.messages.show_notice, on=speak)
        self._make_actions()
        self._arrange()
        self._listen()
        self.show_recording(recording)
        self.show_roles(roles or {})
        self.coach.show_rule_set(rule_set)

    def _make_actions(self) -> None:
        coach, view, on = self.coach, self.view, self._action
        self.mute = on("mute", self._mute)
        self.mute.setCheckable(True)
        # Until the cautions are acknowledged, Space belongs to them.
        self.mute.setEnabled(False)
        pause = on("pause", lambda: coach.pause(muted=self.mute.isChecked()))
        zero = on("zero", lambda: self._on_command(SetZero()))
        pain = on("pain", lambda: self._on_command(Pain()))
        limits = on("limits", lambda: coach.ask_limits(self, self._scale()))
        higher = on("higher", lambda: coach.target_by(TARGET_STEP_DEG))
        lower = on("lower", lambda: coach.target_by(-TARGET_STEP_DEG))
        stop = on("stop", self._escape)
        good, discard = on("good", coach.good), on("discard", coach.discard)
        further, back = on("further", lambda: coach.step_by(1)), on("step-back", lambda: coach.step_by(-1))
        note = on("note", lambda: coach.note(self, self._scale()))
        compare = self._compare_action = on("compare", coach.compare)
        estimates = [on(f"estimate-{key}", partial(coach.estimate, answer)) for key, answer in enumerate(ANSWERS, 1)]
        self.range_action = on("range", self._toggle_range)
        second, full = on("second", self._show_second), on("full", self._toggle_full)
        self.calm = on("calm", self._slow_down)
        self.calm.setCheckable(True)
        slots = common_slots(self, Screen.BAY)
        anywhere = {one.name: self._common(one, slots[one.name]) for one in on_screen(Screen.ANYWHERE)}
        sizes = [anywhere[one] for one in SIZE_KEYS]
        delays = on("delays", self._show_delays)
        homework = on("homework", lambda: coach.ask_homework(self, self._scale()))
        purposes = on("purposes", lambda: show_purposes(self, self._scale()))
        guides = [self._guide_action(name) for name in names()]
        self._in_session = [pause, pain, zero, limits, higher, lower, good, discard, note, compare]
        self._in_session += [self.range_action, second, homework, further, back, *estimates]
        menus = {
            phrase("session_menu"): [
                pause,
                self.mute,
                pain,
                zero,
                limits,
                higher,
                lower,
                further,
                back,
                homework,
                stop,
            ],
            phrase("rep_menu"): [good, discard, note, compare],
            phrase("estimate_menu"): estimates,
            phrase("view_menu"): [self.range_action, second, full, anywhere["look"], self.calm, *sizes],
            phrase("help_menu"): [anywhere["keys"], anywhere["cautions"], *guides, purposes, delays],
        }
        if self._on_preview is not None:
            menus[phrase("sounds_menu")] = [*(self._preview(name) for name in SOUNDS), self.speaking.action]
            menus[phrase("tones_menu")] = [self._switch(name) for name in MEANINGS]
        for name, actions in menus.items():
            self.menuBar().addMenu(name).addActions(actions)
        for action in self._in_session:
            action.setEnabled(False)
        shown = (pause, good, discard, note, self.range_action, stop)
        pairs = zip(shown, words.short_buttons(), strict=True)
        view.add_buttons([_button(action, text) for action, text in pairs])

    def _action(self, name: str, slot: Callable[[], Any]) -> QAction:
        return self._common(key(Screen.BAY, name), slot)

    def _common(self, row: Key, slot: Callable[[], Any]) -> QAction:
        action = QAction(row.text(), self)
        action.setShortcuts([QKeySequence(one) for one in row.keys])
        self.addAction(action)  # else its key would go with the menu, which the range view hides
        # The signal carries "checked", which none of the slots wants.
        action.triggered.connect(lambda *_: slot())
        return action

    def _preview(self, name: str) -> QAction:
        action = QAction(words.sound_word(name), self)
        action.triggered.connect(lambda *_: self._on_preview(name) if self._on_preview is not None else None)
        return action

    def _switch(self, name: str) -> QAction:
        """One sound on or off; all are on at first but the held one."""
        action = QAction(words.sound_word(name), self)
        action.setCheckable(True)
        action.setChecked(name != HELD)
        action.toggled.connect(lambda on: self._on_command(SwitchSound(name, on)))
        return action

    def _arrange(self) -> None:
        self.pages.addWidget(self.cautions)
        self.pages.addWidget(self.view)
        self.pages.addWidget(self.range)
        self.setCentralWidget(scrolled(self.pages))
        self.setWindowTitle(phrase("window_title"))
        self._restyle()
        look.changed.connect(self._restyle)
        self.setMinimumSize(900, 560)
        self.resize(BASE_WIDTH, BASE_HEIGHT)
        self.cautions.setFocus()

    def _listen(self) -> None:
        self.feed.woken.connect(self._hear, Qt.ConnectionType.QueuedConnection)
        self.cautions.acknowledged.connect(self._begin)
        self.view.reps_changed.connect(self._show_reps)
        self._frames = QTimer(self)
        self._frames.setTimerType(Qt.TimerType.PreciseTimer)
        self._frames.timeout.connect(self._frame)
        self._frames.start(FRAME_MS)
        text_size.changed.connect(self.rescale)
        self._leaving = QTimer(self)
        self._leaving.setInterval(30)
        self._leaving.timeout.connect(self._leave_when_stopped)

    # ── what others may ask ──────────────────────────────────────────────────────────────────────────────────────

    @property
    def frame_stats(self) -> FrameStats:
        """What drawing costs."""
        return self._clock.stats()

    @property
    def stop_failure(self) -> str | None:
        """Why the ordered stop went wrong, or None."""
        return self._stop.failure

    def show_recording(self, path: str | None) -> None:
        """Where the recording goes now. Qt thread."""
        self.view.recording.show_text(words.recording_line(path))

    def show_roles(self, roles: Mapping[str, Segment]) -> None:
        """Which sensor is worn where. Qt thread."""
        self.view.sensors.show_roles(roles)

    def show_block(self, block: LessonBlock) -> None:
        """A block of a plan begins: the limits of its drill can be changed. Qt thread."""
        if block.command.rule_set:
            self.coach.show_rule_set(block.command.rule_set)

    def acknowledge(self) -> None:
        """The same as pressing the button under the cautions."""
        self.cautions.button.click()

    def draw_now(self) -> None:
        """One more frame, beside those that come by themselves. Qt thread."""
        self._frame()

    def stop_now(self) -> None:
        """Ordered stop without returning to the event loop: at log-off and at the end of the process."""
        self._stop.finish()

    # ── session ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _hear(self) -> None:
        for event in self.feed.take():
            self.view.hear(event)
            self.coach.hear(event)
            if not self.mute.isChecked():
                self.speaking.hear(event)
            if isinstance(event, BlockBegun):
                for banner in self.banners:
                    banner.say(words.block_large(event))
            if isinstance(event, BlockBegun | StepTold):
                for view in (self.view, *self.ranges):
                    view.show_step(self.coach.step, self.coach.rule_set)
            self._also(event)
        if self.feed.finished:
            self.view.tell_all()

    def _begin(self) -> None:
        if self.pages.currentWidget() is not self.cautions:
            return
        self.pages.setCurrentWidget(self.view)
        for action in (self.mute, *self._in_session):
            action.setEnabled(True)
        if self._on_begin is not None:
            self._on_begin()

    def _mute(self) -> None:
        self.view.show_muted(self.mute.isChecked())
        if self._on_mute is not None:
            self._on_mute(self.mute.isChecked())

    def _frame(self) -> None:
        if self.pages.currentWidget() is self.cautions or not self.isVisible():
            return
        began = time.perf_counter()
        snapshot = self.feed.snapshot(SPAN_S)
        if snapshot.finished and not self.coach.over:
            self._over()
        if self.pages.currentWidget() is self.view:
            self.view.draw(snapshot)
        for view in self.ranges:
            if view.isVisible():
                view.show_pose(*self.view.body_of(self.view.visible(snapshot)))
        if self._frame_number % max(NUMBER_MS // self._frames.interval(), 1) == 0:
            self.view.show_numbers(snapshot)
            self.view.show_delay(self._sound_delay())
            self.view.show_sound_trouble(self._sound_trouble())
            self._show_range(snapshot)
        self._frame_number += 1
        self._update_s = time.perf_counter() - began

    def _over(self) -> None:
        """The recording is closed: what cannot be kept any more cannot be said any more."""
        self.coach.over = True
        for action in (self.mute, *self._in_session):
            action.setEnabled(action in (self.range_action, self._compare_action))
        for banner in self.banners:
            banner.hide()  # the block that it names will not be done
        if self.coach.step is not None and not self.coach.step.over:
            for view in (self.view, *self.ranges):
                view.show_step(None, self.coach.rule_set)
        self.ended.emit()

    def _painted(self, cost_s: float) -> None:
        # A frame costs what the update took and what the painting took, which Qt does later.
        self._clock.add(self._update_s + cost_s)
        self._update_s = 0.0
        wanted = CALM_MS if self.calm.isChecked() else self._clock.interval_ms()
        if abs(wanted - self._frames.interval()) > PACE_STEP_MS:
            self._frames.setInterval(wanted)

    def _painted_also(self, cost_s: float) -> None:
        """The body is painted apart from the traces; whichever comes first, it is one frame."""
        self._update_s += cost_s

    # ── range view ───────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def ranges(self) -> tuple[RangeView, RangeView]:
        """The range view of this window, and the one in a window of its own."""
        return self.range, self.second.view

    def _show_range(self, snapshot: Snapshot) -> None:
        angle_deg, shown = newest(self.view.visible(snapshot))[0][TRAIL_THIGH], self.view.shown(snapshot)
        for view in self.ranges:
            view.show_state(shown)
            view.show_trouble(self.view.trouble_in(shown))
            view.show_result(self.view.result)
            view.show_angle(angle_deg)

    def _show_reps(self) -> None:
        book = self.view.book
        for view in self.ranges:
            view.show_reps(book.counted, book.last_told)

    def _toggle_range(self) -> None:
        in_range = self.pages.currentWidget() is self.range
        self.pages.setCurrentWidget(self.view if in_range else self.range)
        self.menuBar().setVisible(in_range)

    def _show_second(self) -> None:
        self.second.hide() if self.second.isVisible() else self.second.show_there(self)

    def _toggle_full(self) -> None:
        window = self.window()
        window.showMaximized() if window.isFullScreen() else window.showFullScreen()

    def _restyle(self) -> None:
        """Colours of the look that was chosen."""
        self.setStyleSheet(_sheet())
        for view in (*self.ranges, self.view):
            view.show_theme(look.theme)

    def _slow_down(self) -> None:
        self._frames.setInterval(CALM_MS if self.calm.isChecked() else FRAME_MS)

    def _guide_action(self, name: str) -> QAction:
        """A page that explains, in the menu only."""
        action = QAction(title_of(name), self)
        action.triggered.connect(partial(self._show_guide, name))
        return action

    def _show_guide(self, name: str) -> None:
        try:
            where = open_guide(name, self.feed.hand)
        except ImuFeedbackError as error:
            where = str(error)
        self.view.messages.show_notice(where)

    def _show_delays(self) -> None:
        stats, feed = self.frame_stats, self.feed
        age_ms = 1e3 * feed.snapshot(0.0).age_s
        text = phrase(
            "delays_text",
            frames=stats.count,
            median=stats.median_ms,
            p99=stats.p99_ms,
            age=age_ms,
            waiting=feed.waiting,
            peak=feed.peak,
            lost=feed.dropped,
        )
        box = QMessageBox(QMessageBox.Icon.NoIcon, phrase("delays_action"), text, parent=self)
        box.setFont(pixel_font(15 * self._scale()))
        box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        box.open()

    # ── size and end ─────────────────────────────────────────────────────────────────────────────────────────────

    @property
    def gone(self) -> bool:
        """The session was stopped and the window has closed."""
        return self._gone

    def _scale(self) -> float:
        return scale_of(self)

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self.rescale()

    def rescale(self) -> None:
        """Fit texts to the window and to the size that a person chose."""
        scale = self._scale()
        self.cautions.rescale(scale)
        self.view.rescale(scale, self.width())
        self.menuBar().setFont(pixel_font(13 * scale))
        for action in self.menuBar().actions():
            menu = action.menu()
            if isinstance(menu, QMenu):
                menu.setFont(pixel_font(14 * scale))
        QToolTip.setFont(pixel_font(13 * scale))

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802 – Qt names it
        if self._gone:
            event.accept()
            return
        event.ignore()
        if self._ask and not self._stop.begun and not self.feed.finished:
            self._ask_first()
        elif not self._stop.begun:
            self.view.messages.show_notice(phrase("closing"))
            self._stop.begin()
            self._leaving.start()

    def _escape(self) -> None:
        if self.pages.currentWidget() is self.range:
            self._toggle_range()
        else:
            self.close()

    def _ask_first(self) -> None:
        """Ask once; a second close while it asks stops without more words."""
        if self._asking is not None:
            self.stop_unasked()
            return
        self._asking = AskStop(self, self._scale())
        self._asking.accepted.connect(self.stop_unasked)
        self._asking.rejected.connect(self._go_on)
        self._asking.open()

    def _go_on(self) -> None:
        self._asking = None
        self.stayed.emit()

    def stop_unasked(self) -> None:
        """Ordered stop, and close. For whoever cannot be asked: a signal, a second press."""
        self._ask = False
        self.close()

    def _leave_when_stopped(self) -> None:
        if not self._stop.over():
            return
        self._leaving.stop()
        self._frames.stop()
        self._gone = True
        self.second.close()
        self.speaking.close()
        try:
            if self._on_close is not None:
                self._on_close(self._stop.failure)
        finally:
            self.close()


def _button(action: QAction, text: str) -> QPushButton:
    """A button for those who do not know the key, which it names. Never takes the keys away from the window."""
    button = QPushButton(f"{text} ({action.shortcut().toString()})")
    button.setToolTip(action.text())
    button.setAccessibleName(action.text())
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    button.clicked.connect(action.trigger)
    return button


def _sheet() -> str:
    return f"""
QDialog {{ border: 2px solid {palette.INK}; }}
QMainWindow, QDialog, QMenuBar, QMessageBox {{ background: {palette.GROUND}; color: {palette.INK}; }}
QLabel {{ color: {palette.INK}; }}
QTableWidget {{ background: {palette.PAPER}; color: {palette.INK}; border: 1px solid {palette.RULE_LINE}; }}
QTableWidget::item {{ padding: {PADDING}px; }}
QHeaderView::section {{ background: {palette.GROUND}; color: {palette.INK}; border: none; padding: 4px 6px; }}
"""
