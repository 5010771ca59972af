"""The bay window: what a coach watches while the player swings.

Events come through an `EventFeed`; no other thread touches a widget. Closing is an ordered stop of the session.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Any

from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAction, QCloseEvent, QResizeEvent
from PySide6.QtWidgets import QMainWindow, QMessageBox, QPushButton, QStackedWidget, QWidget

from imufeedback.app import palette, words
from imufeedback.app.bay_view import BayView
from imufeedback.app.cautions import CautionsDialog, CautionsPage
from imufeedback.app.feed import EventFeed
from imufeedback.app.frame_clock import FRAME_MS, FrameClock, FrameStats
from imufeedback.app.labels import pixel_font
from imufeedback.app.rep_table import PADDING, Meaning
from imufeedback.app.stopping import STOP_LIMIT_S, OrderedStop
from imufeedback.app.traces import SPAN_S
from imufeedback.records import Event, Segment

NUMBER_MS = 100
"""Numbers change more slowly than the traces, so that they can be read."""
BASE_WIDTH, BASE_HEIGHT = 1280, 720
"""Size of the window at which texts have their plain size."""
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
    recording : str, optional
        Where the recording goes; see also `show_recording`.
    roles : mapping, optional
        Sensor id to the segment it is worn on; see also `show_roles`.
    meaning : callable, optional
        Takes the text of a finding to other words (another language), or None to leave it.
    also : callable
        Hears every rare event too, in the Qt thread.
    stop_limit_s : float
        How long the stop is waited for.
    """

    def __init__(
        self,
        feed: EventFeed,
        *,
        on_stop: Callable[[], None],
        on_begin: Callable[[], None] | None = None,
        on_mute: Callable[[bool], None] | None = None,
        on_close: Callable[[str | None], None] | None = None,
        recording: str | None = None,
        roles: Mapping[str, Segment] | None = None,
        meaning: Meaning = lambda key: None,
        also: Callable[[Event], None] = lambda event: None,
        stop_limit_s: float = STOP_LIMIT_S,
    ) -> None:
        super().__init__()
        self.feed = feed
        self._on_begin, self._on_mute, self._on_close = on_begin, on_mute, on_close
        self._also = also
        self._stop = OrderedStop(on_stop, stop_limit_s)
        self._gone = False
        self._clock = FrameClock()
        self._update_s = 0.0
        self._frame_number = 0
        self.cautions = CautionsPage(words.agree_button())
        self.view = BayView(feed.hand, meaning, self._painted)
        self.pages = QStackedWidget()
        self._make_actions()
        self._arrange()
        self._listen()
        self.show_recording(recording)
        self.show_roles(roles or {})

    def _make_actions(self) -> None:
        self.mute = self._action(words.mute_action(), "Space", self._mute)
        self.mute.setCheckable(True)
        # Until the cautions are acknowledged, Space belongs to them.
        self.mute.setEnabled(False)
        stop = self._action(words.stop_action(), "Esc", self.close)
        cautions = self._action(words.cautions_action(), "F1", self._show_cautions)
        delays = self._action(words.delays_action(), "F2", self._show_delays)
        self.menuBar().addMenu(words.session_menu()).addActions([self.mute, stop])
        self.menuBar().addMenu(words.help_menu()).addActions([cautions, delays])
        self.view.add_buttons([_button(action) for action in (self.mute, cautions, stop)])

    def _action(self, text: str, keys: str, slot: Callable[[], Any]) -> QAction:
        action = QAction(text, self)
        action.setShortcut(keys)
        # The signal carries "checked", which none of the slots wants.
        action.triggered.connect(lambda *_: slot())
        return action

    def _arrange(self) -> None:
        self.pages.addWidget(self.cautions)
        self.pages.addWidget(self.view)
        self.setCentralWidget(self.pages)
        self.setWindowTitle(words.window_title())
        self.setStyleSheet(_SHEET)
        self.setMinimumSize(900, 560)
        self.resize(BASE_WIDTH, BASE_HEIGHT)
        self.cautions.setFocus()

    def _listen(self) -> None:
        self.feed.woken.connect(self._hear, Qt.ConnectionType.QueuedConnection)
        self.cautions.acknowledged.connect(self._begin)
        self._frames = QTimer(self)
        self._frames.setTimerType(Qt.TimerType.PreciseTimer)
        self._frames.timeout.connect(self._frame)
        self._frames.start(FRAME_MS)
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

    def acknowledge(self) -> None:
        """The same as pressing the button under the cautions."""
        self.cautions.button.click()

    def stop_now(self) -> None:
        """Ordered stop without returning to the event loop: at log-off and at the end of the process."""
        self._stop.finish()

    # ── session ──────────────────────────────────────────────────────────────────────────────────────────────────

    def _hear(self) -> None:
        for event in self.feed.take():
            self.view.hear(event)
            self._also(event)

    def _begin(self) -> None:
        if self.pages.currentWidget() is self.view:
            return
        self.pages.setCurrentWidget(self.view)
        self.mute.setEnabled(True)
        if self._on_begin is not None:
            self._on_begin()

    def _mute(self) -> None:
        self.view.show_muted(self.mute.isChecked())
        if self._on_mute is not None:
            self._on_mute(self.mute.isChecked())

    def _frame(self) -> None:
        if self.pages.currentWidget() is not self.view:
            return
        began = time.perf_counter()
        snapshot = self.feed.snapshot(SPAN_S)
        self.view.draw(snapshot)
        if self._frame_number % max(NUMBER_MS // self._frames.interval(), 1) == 0:
            self.view.show_numbers(snapshot)
        self._frame_number += 1
        self._update_s = time.perf_counter() - began

    def _painted(self, cost_s: float) -> None:
        # A frame costs what the update took and what the painting took, which Qt does later.
        self._clock.add(self._update_s + cost_s)
        self._update_s = 0.0
        wanted = self._clock.interval_ms()
        if abs(wanted - self._frames.interval()) > PACE_STEP_MS:
            self._frames.setInterval(wanted)

    def _show_cautions(self) -> None:
        CautionsDialog(self, self._scale()).open()

    def _show_delays(self) -> None:
        stats, feed = self.frame_stats, self.feed
        age_ms = 1e3 * feed.snapshot(0.0).age_s
        text = words.delays_text(
            stats.count, stats.median_ms, stats.p99_ms, age_ms, feed.waiting, feed.peak, feed.dropped
        )
        box = QMessageBox(QMessageBox.Icon.NoIcon, words.delays_action(), text, parent=self)
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
        self.cautions.rescale(self._scale())
        self.view.rescale(self._scale())
        self.menuBar().setFont(pixel_font(13 * self._scale()))

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802 – Qt names it
        if self._gone:
            event.accept()
            return
        event.ignore()
        if not self._stop.begun:
            self.view.messages.show_notice(words.closing())
            self._stop.begin()
            self._leaving.start()

    def _leave_when_stopped(self) -> None:
        if not self._stop.over():
            return
        self._leaving.stop()
        self._frames.stop()
        self._gone = True
        try:
            if self._on_close is not None:
                self._on_close(self._stop.failure)
        finally:
            self.close()


def scale_of(window: QWidget) -> float:
    """How much larger texts are than in a window of the base size."""
    return max(min(window.height() / BASE_HEIGHT, window.width() / BASE_WIDTH, 2.5), 0.7)


def _button(action: QAction) -> QPushButton:
    """A button for those who do not know the key, which it names. Never takes the keys away from the window."""
    button = QPushButton(f"{action.text()} ({action.shortcut().toString()})")
    button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    button.clicked.connect(action.trigger)
    return button


_SHEET = f"""
QMainWindow, QDialog, QMenuBar, QMessageBox {{ background: {palette.GROUND}; color: {palette.INK}; }}
QLabel {{ color: {palette.INK}; }}
QTableWidget {{ background: {palette.PAPER}; color: {palette.INK}; border: 1px solid {palette.RULE_LINE}; }}
QTableWidget::item {{ padding: {PADDING}px; }}
QHeaderView::section {{ background: {palette.GROUND}; color: {palette.INK}; border: none; padding: 4px 6px; }}
"""
