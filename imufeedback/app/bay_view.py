"""What the bay window shows of a session, without the window around it.

Top: live state and trail thigh angle, to be read from across the bay. Middle: three traces and the reps. Bottom:
messages, sensors, sound, recording.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from typing import Any

import numpy as np
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app import words
from imufeedback.app.feed import TRACES, TRAIL_THIGH, Snapshot
from imufeedback.app.labels import ElidedLabel, MessageLine, pixel_font
from imufeedback.app.marks import StateMark, TimeMark, marks_of
from imufeedback.app.palette import Shown
from imufeedback.app.rep_table import Meaning, RepTable
from imufeedback.app.sensor_line import SensorLine
from imufeedback.app.state_panel import StatePanel
from imufeedback.app.traces import TracePlots
from imufeedback.records import (
    ClockFitted,
    ClockRestarted,
    Cue,
    Event,
    Fault,
    Finding,
    FitRefused,
    FitStep,
    Fitted,
    Floats,
    Gap,
    Hand,
    Link,
    Motion,
    Notice,
    Phase,
    PhaseChanged,
    Rep,
    Slipped,
    StateChanged,
    SwapOffered,
    Zeroed,
)

STALE_S = 0.5
"""An older angle is not shown as a number any more, and the live state is not believed any more."""
BEFORE_THE_DOWNSWING = (Phase.WAITING, Phase.ADDRESS, Phase.BACKSWING)
"""Phases in which there is no live state."""
MARKS_KEPT = 96
"""Newest marks; more than fit into the span."""


class BayView(QWidget):
    """The panels of one session. `hear` takes rare events, `draw` one frame; both in the Qt thread."""

    def __init__(
        self, hand: Hand, meaning: Meaning = lambda key: None, on_painted: Callable[[float], None] | None = None
    ) -> None:
        super().__init__()
        self.panel = StatePanel(hand.trail)
        self.plots = TracePlots(hand, on_painted)
        self.key = ElidedLabel(words.lines_key())
        self.table_title = QLabel(words.table_title())
        self.no_reps = QLabel(words.no_reps_yet())
        self.table = RepTable(meaning)
        self.messages = MessageLine()
        self.sensors = SensorLine()
        self.sound = QLabel()
        self.recording = ElidedLabel()
        self._motion = Motion.IDLE
        self._had_angle = False
        self._muted = False
        self._last_tone: str | None = None
        self._times: deque[TimeMark] = deque(maxlen=MARKS_KEPT)
        self._states: deque[StateMark] = deque(maxlen=MARKS_KEPT)
        self._hearers = self._make_hearers()
        self._arrange()
        self.show_muted(False)

    def _arrange(self) -> None:
        column = QVBoxLayout(self)
        column.setContentsMargins(10, 8, 10, 6)
        column.setSpacing(6)
        column.addWidget(self.panel)
        column.addLayout(self._middle(), 1)
        column.addWidget(self.messages)
        column.addWidget(self.sensors)
        self._bottom = QHBoxLayout()
        self._bottom.setSpacing(14)
        self._bottom.addWidget(self.sound)
        self._bottom.addWidget(self.recording, 1)
        column.addLayout(self._bottom)

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
        row.addLayout(left, 56)
        row.addLayout(right, 44)
        return row

    def add_buttons(self, buttons: list[QPushButton]) -> None:
        """Put the window's buttons at the right of the lowest line."""
        self._buttons = buttons
        for button in buttons:
            self._bottom.addWidget(button)

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        for part in (self.panel, self.plots, self.table, self.messages, self.sensors):
            part.rescale(scale)
        self.table_title.setFont(pixel_font(14 * scale, bold=True))
        for widget in (self.key, self.no_reps, self.sound, self.recording, *self._buttons):
            widget.setFont(pixel_font(13 * scale))

    # ── events ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _make_hearers(self) -> Mapping[type, Callable[[Any], None]]:
        notice = self.messages.show_notice
        return {
            StateChanged: self._hear_state,
            PhaseChanged: self._hear_phase,
            Rep: self._hear_rep,
            Finding: self.table.add_finding,
            Cue: self._hear_cue,
            Link: self.sensors.hear,
            Gap: self.sensors.hear,
            ClockFitted: self.sensors.hear,
            ClockRestarted: lambda event: notice(words.restarted(event.sensor)),
            Fitted: lambda event: notice(words.fitted(event.fit.level)),
            FitRefused: lambda event: notice(words.fit_refused(event.reason)),
            FitStep: lambda event: notice(words.fit_step(event.number, event.of, event.say)),
            SwapOffered: lambda event: notice(event.text),
            Slipped: lambda event: notice(event.text),
            Zeroed: self._hear_zeroed,
            Notice: lambda event: notice(event.text),
            Fault: lambda event: self.messages.show_fault(words.fault(event.where, event.what)),
        }

    def _hear_zeroed(self, event: Zeroed) -> None:
        # at every address it happens by itself; only who asked for it wants an answer
        if event.reason == "asked":
            self.messages.show_notice(words.zeroed(event.reason))

    def hear(self, event: Event) -> None:
        """Show one rare event; what has no place on this screen is left to the recording."""
        hearer = self._hearers.get(type(event))
        if hearer is not None:
            hearer(event)

    def _hear_state(self, event: StateChanged) -> None:
        self._motion = event.state
        if event.state in (Motion.STALLED, Motion.REGAINING):
            self._states.append(StateMark(event.onset_s, float(np.degrees(event.thigh_angle_rad)), event.state))

    def _hear_phase(self, event: PhaseChanged) -> None:
        self.panel.state.show_phase(event.phase)
        if event.phase in BEFORE_THE_DOWNSWING:
            self._motion = Motion.IDLE

    def _hear_rep(self, rep: Rep) -> None:
        self._times.extend(marks_of(rep))
        self.table.add_rep(rep)
        self.no_reps.hide()

    def _hear_cue(self, cue: Cue) -> None:
        self._last_tone = cue.sound
        self.show_muted(self._muted)

    def show_muted(self, muted: bool) -> None:
        """Say whether tones sound."""
        self._muted = muted
        self.sound.setText(words.sound_line(muted, self._last_tone))

    # ── frames ───────────────────────────────────────────────────────────────────────────────────────────────────

    def draw(self, snapshot: Snapshot) -> None:
        """Traces and live state of one frame."""
        self._had_angle = self._had_angle or bool(np.isfinite(snapshot.angle_deg).any())
        self.plots.draw(snapshot, self._times, self._states)
        self.panel.state.show_state(self._shown(snapshot))

    def show_numbers(self, snapshot: Snapshot) -> None:
        """The newest angles as numbers; less often than frames, so that they can be read."""
        angles, sds = newest(snapshot)
        self.panel.angle.show_angle(angles[TRAIL_THIGH], sds[TRAIL_THIGH])
        self.plots.show_values(angles)
        self.plots.show_empty(self._empty_words())
        self.messages.tidy()

    def _empty_words(self) -> str:
        if self._had_angle:
            return words.no_angle()
        return words.waiting_for_fitting() if self.sensors.streaming else words.waiting_for_sensors()

    def _shown(self, snapshot: Snapshot) -> Shown:
        if snapshot.finished:
            return Shown.FINISHED
        if not self._had_angle:
            return Shown.FITTING if self.sensors.streaming else Shown.NO_SENSORS
        known_s = snapshot.t_s[np.isfinite(snapshot.angle_deg[:, TRAIL_THIGH])]
        if not len(known_s) or snapshot.now_s - known_s[-1] > STALE_S:
            return Shown.NO_SIGNAL
        return Shown.of(self._motion)


def newest(snapshot: Snapshot) -> tuple[list[float | None], list[float | None]]:
    """Angles and standard deviations of the newest sample in degrees; None where they are not known now."""
    if snapshot.finished or snapshot.age_s > STALE_S or not len(snapshot.t_s):
        return [None] * TRACES, [None] * TRACES
    return _known(snapshot.angle_deg[-1]), _known(snapshot.sd_deg[-1])


def _known(values: Floats) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
