"""The bay window: what a coach watches while the player swings.

Top: live state and trail thigh angle, to be read from across the bay. Middle: three traces and the reps. Bottom:
messages, sensors, sound, recording. Events come through an `EventFeed`; no other thread touches a widget.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from PySide6.QtCore import Qt, QTimer
from PySide6.QtGui import QAction, QCloseEvent, QResizeEvent
from PySide6.QtWidgets import (
    QHBoxLayout,
    QLabel,
    QMainWindow,
    QMessageBox,
    QPushButton,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import palette, words
from imufeedback.app.cautions import CautionsDialog, CautionsPage
from imufeedback.app.feed import TRAIL_THIGH, EventFeed, Snapshot
from imufeedback.app.frame_clock import FRAME_MS, FrameClock, FrameStats
from imufeedback.app.labels import ElidedLabel, MessageLine, pixel_font
from imufeedback.app.marks import StateMark, TimeMark, marks_of
from imufeedback.app.palette import Shown
from imufeedback.app.rep_table import Meaning, RepTable
from imufeedback.app.sensor_line import SensorLine
from imufeedback.app.state_panel import StatePanel
from imufeedback.app.stopping import STOP_LIMIT_S, OrderedStop
from imufeedback.app.traces import SPAN_S, TracePlots
from imufeedback.records import (
    ClockFitted,
    ClockRestarted,
    Cue,
    Fault,
    Finding,
    FitRefused,
    Fitted,
    Gap,
    Link,
    Motion,
    Notice,
    PhaseChanged,
    Rep,
    Segment,
    StateChanged,
    Zeroed,
)

STALE_S = 0.5
"""An older angle is not shown as a number any more."""
NUMBER_MS = 100
"""Numbers change more slowly than the traces, so that they can be read."""
MARKS_KEPT = 96
BASE_HEIGHT = 720
"""Window height at which texts have their plain size."""


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
        Sensor id to the segment it is worn on.
    meaning : callable, optional
        Text key of a finding to the rule set's words, or None.
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
        stop_limit_s: float = STOP_LIMIT_S,
    ) -> None:
        super().__init__()
        self.feed = feed
        self._on_begin, self._on_mute, self._on_close = on_begin, on_mute, on_close
        self._stop = OrderedStop(on_stop, stop_limit_s)
        self._gone = False
        self._motion = Motion.IDLE
        self._had_angle = False
        self._last_tone: str | None = None
        self._times: deque[TimeMark] = deque(maxlen=MARKS_KEPT)
        self._states: deque[StateMark] = deque(maxlen=MARKS_KEPT)
        self._clock = FrameClock()
        self._update_s = 0.0
        self._frame_number = 0
        self._make_widgets(recording, roles, meaning)
        self._arrange()
        self._make_actions()
        self._listen()

    # ── making ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _make_widgets(self, recording: str | None, roles: Mapping[str, Segment] | None, meaning: Meaning) -> None:
        hand = self.feed.hand
        self.cautions = CautionsPage(words.agree_button())
        self.panel = StatePanel(hand.trail)
        self.plots = TracePlots(hand, self._painted)
        self.key = ElidedLabel(words.lines_key())
        self.table_title = QLabel(words.table_title())
        self.no_reps = QLabel(words.no_reps_yet())
        self.table = RepTable(meaning)
        self.messages = MessageLine()
        self.sensors = SensorLine(roles)
        self.sound = QLabel(words.sound_line(False, None))
        self.recording = ElidedLabel(words.recording_line(recording))

    def _arrange(self) -> None:
        self.bay = QWidget()
        column = QVBoxLayout(self.bay)
        column.setContentsMargins(10, 8, 10, 6)
        column.setSpacing(6)
        column.addWidget(self.panel)
        column.addLayout(self._middle(), 1)
        column.addWidget(self.messages)
        column.addWidget(self.sensors)
        column.addLayout(self._bottom())
        self.pages = QStackedWidget()
        self.pages.addWidget(self.cautions)
        self.pages.addWidget(self.bay)
        self.setCentralWidget(self.pages)
        self.setWindowTitle(words.window_title())
        self.setStyleSheet(_SHEET)
        self.resize(1280, BASE_HEIGHT)
        self.setMinimumSize(900, 560)

    def _middle(self) -> QHBoxLayout:
        left, right = QVBoxLayout(), QVBoxLayout()
        left.setSpacing(2)
        left.addWidget(self.plots, 1)
        left.addWidget(self.key)
        self.no_reps.setWordWrap(True)
        for widget in (self.table_title, self.no_reps, self.table):
            right.addWidget(widget)
        row = QHBoxLayout()
        row.setSpacing(10)
        row.addLayout(left, 58)
        row.addLayout(right, 42)
        return row

    def _bottom(self) -> QHBoxLayout:
        self.buttons = [QPushButton(), QPushButton(), QPushButton()]
        row = QHBoxLayout()
        row.setSpacing(14)
        row.addWidget(self.sound)
        row.addWidget(self.recording, 1)
        for button in self.buttons:
            button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            row.addWidget(button)
        return row

    def _make_actions(self) -> None:
        self.mute = self._action(words.mute_action(), "Space", self._mute)
        self.mute.setCheckable(True)
        self.mute.setEnabled(False)
        self.stop = self._action(words.stop_action(), "Esc", self.close)
        self.help = self._action(words.cautions_action(), "F1", self._show_cautions)
        delays = self._action(words.delays_action(), "F2", self._show_delays)
        session, helping = self.menuBar().addMenu(words.session_menu()), self.menuBar().addMenu(words.help_menu())
        session.addActions([self.mute, self.stop])
        helping.addActions([self.help, delays])
        for button, action in zip(self.buttons, (self.mute, self.help, self.stop), strict=True):
            button.setText(f"{action.text()} ({action.shortcut().toString()})")
            button.clicked.connect(action.trigger)

    def _action(self, text: str, keys: str, slot: Callable[[], Any]) -> QAction:
        action = QAction(text, self)
        action.setShortcut(keys)
        # The signal carries "checked", which none of the slots wants.
        action.triggered.connect(lambda *_: slot())
        return action

    def _listen(self) -> None:
        self._hearers: dict[type, Callable[[Any], None]] = {
            StateChanged: self._hear_state,
            PhaseChanged: lambda event: self.panel.state.show_phase(event.phase),
            Rep: self._hear_rep,
            Finding: self.table.add_finding,
            Cue: self._hear_cue,
            Link: self.sensors.hear,
            Gap: self.sensors.hear,
            ClockFitted: self.sensors.hear,
            ClockRestarted: lambda event: self.messages.show_notice(words.restarted(event.sensor)),
            Fitted: lambda event: self.messages.show_notice(words.fitted(event.fit.level)),
            FitRefused: lambda event: self.messages.show_notice(words.fit_refused(event.reason)),
            Zeroed: lambda event: self.messages.show_notice(words.zeroed(event.reason)),
            Notice: lambda event: self.messages.show_notice(event.text),
            Fault: lambda event: self.messages.show_fault(words.fault(event.where, event.what)),
        }
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
        self.recording.show_text(words.recording_line(path))

    def acknowledge(self) -> None:
        """The same as pressing the button under the cautions."""
        self.cautions.button.click()

    def stop_now(self) -> None:
        """Ordered stop without returning to the event loop: at log-off and at the end of the process."""
        self._stop.finish()

    # ── events ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _hear(self) -> None:
        for event in self.feed.take():
            hearer = self._hearers.get(type(event))
            if hearer is not None:
                hearer(event)

    def _hear_state(self, event: StateChanged) -> None:
        self._motion = event.state
        if event.state in (Motion.STALLED, Motion.REGAINING):
            self._states.append(StateMark(event.onset_s, float(np.degrees(event.thigh_angle_rad)), event.state))

    def _hear_rep(self, rep: Rep) -> None:
        self._times.extend(marks_of(rep))
        self.table.add_rep(rep)
        self.no_reps.hide()

    def _hear_cue(self, cue: Cue) -> None:
        self._last_tone = cue.sound
        self._show_sound()

    def _begin(self) -> None:
        if self.pages.currentWidget() is not self.bay:
            self.pages.setCurrentWidget(self.bay)
            self.mute.setEnabled(True)
            if self._on_begin is not None:
                self._on_begin()

    def _mute(self) -> None:
        self._show_sound()
        if self._on_mute is not None:
            self._on_mute(self.mute.isChecked())

    def _show_sound(self) -> None:
        self.sound.setText(words.sound_line(self.mute.isChecked(), self._last_tone))

    # ── frames ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _frame(self) -> None:
        if self.pages.currentWidget() is not self.bay:
            return
        began = time.perf_counter()
        snapshot = self.feed.snapshot(SPAN_S)
        self._had_angle = self._had_angle or bool(np.isfinite(snapshot.angle_deg).any())
        self.plots.draw(snapshot, self._times, self._states)
        self.panel.state.show_state(self._shown(snapshot))
        if self._frame_number % max(NUMBER_MS // self._frames.interval(), 1) == 0:
            self._show_numbers(snapshot)
        self._frame_number += 1
        self._update_s = time.perf_counter() - began

    def _painted(self, cost_s: float) -> None:
        # A frame costs what the update took and what the painting took, which Qt does later.
        self._clock.add(self._update_s + cost_s)
        self._update_s = 0.0
        wanted = self._clock.interval_ms()
        if abs(wanted - self._frames.interval()) > 5:
            self._frames.setInterval(wanted)

    def _show_numbers(self, snapshot: Snapshot) -> None:
        angles, sds = self._newest(snapshot)
        self.panel.angle.show_angle(angles[TRAIL_THIGH], sds[TRAIL_THIGH])
        self.plots.show_values(angles)
        self.plots.show_empty(words.no_angle() if self._had_angle else words.waiting_for_sensors())
        self.messages.tidy()

    def _newest(self, snapshot: Snapshot) -> tuple[list[float | None], list[float | None]]:
        """The newest angles and standard deviations; None where not known now."""
        if self.feed.finished or snapshot.age_s > STALE_S or not len(snapshot.t_s):
            return [None] * 3, [None] * 3
        return _known(snapshot.angle_deg[-1]), _known(snapshot.sd_deg[-1])

    def _shown(self, snapshot: Snapshot) -> Shown:
        if self.feed.finished:
            return Shown.FINISHED
        if not self._had_angle:
            return Shown.NO_SENSORS
        known_s = snapshot.t_s[np.isfinite(snapshot.angle_deg[:, TRAIL_THIGH])]
        if not len(known_s) or snapshot.now_s - known_s[-1] > STALE_S:
            return Shown.NO_SIGNAL
        return Shown.of(self._motion)

    # ── help ─────────────────────────────────────────────────────────────────────────────────────────────────────

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

    def _scale(self) -> float:
        return float(np.clip(min(self.height() / BASE_HEIGHT, self.width() / 1280), 0.75, 2.5))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        scale = self._scale()
        for part in (self.cautions, self.panel, self.plots, self.table, self.messages, self.sensors):
            part.rescale(scale)
        self.table_title.setFont(pixel_font(14 * scale, bold=True))
        for widget in (self.key, self.no_reps, self.sound, self.recording, *self.buttons, self.menuBar()):
            widget.setFont(pixel_font(13 * scale))

    def closeEvent(self, event: QCloseEvent) -> None:  # noqa: N802 – Qt names it
        if self._gone:
            event.accept()
            return
        event.ignore()
        if not self._stop.begun:
            self.messages.show_notice(words.closing())
            self._stop.begin()
            self._leaving.start()

    def _leave_when_stopped(self) -> None:
        if not self._stop.over():
            return
        self._leaving.stop()
        self._frames.stop()
        self._gone = True
        if self._on_close is not None:
            self._on_close(self._stop.failure)
        self.close()


def _known(values: np.ndarray[Any, np.dtype[np.float64]]) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]


_SHEET = f"""
QMainWindow, QDialog, QMenuBar, QMessageBox {{ background: {palette.GROUND}; color: {palette.INK}; }}
QLabel {{ color: {palette.INK}; }}
QTableWidget {{ background: {palette.PAPER}; color: {palette.INK}; border: 1px solid {palette.RULE_LINE};
    alternate-background-color: {palette.STRIPE};
    selection-background-color: {palette.CHOSEN}; selection-color: {palette.INK}; }}
QTableWidget::item {{ padding: 3px 6px; }}
QHeaderView::section {{ background: {palette.GROUND}; color: {palette.INK}; border: none; padding: 4px 6px; }}
"""
