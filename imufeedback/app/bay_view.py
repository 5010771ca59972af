"""What the bay window shows of a session, without the window around it.

Top: live state and trail thigh angle, to be read from across the bay. Middle: traces at the left; at the right the
angle against pelvis turn, the last rep beside another, and the reps. Bottom: messages, sensors, sound, recording.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from PySide6.QtCore import Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app import words
from imufeedback.app.body_view import BodyView
from imufeedback.app.feed import TRACES, TRAIL_THIGH, TURN, Snapshot
from imufeedback.app.labels import NARROW, TARGET, ElidedLabel, MessageLine, pixel_font
from imufeedback.app.last_reps import LastReps
from imufeedback.app.palette import PanelState
from imufeedback.app.panels import make_all
from imufeedback.app.rep_table import Meaning, RepTable
from imufeedback.app.result import Result, result_of
from imufeedback.app.scrolling import fold
from imufeedback.app.sensor_line import SensorLine
from imufeedback.app.state_panel import StatePanel
from imufeedback.app.step_panel import StepPanel
from imufeedback.app.theme import Theme
from imufeedback.app.trace_marks import PhaseSpans, StateMark, TimeMark, marks_of
from imufeedback.app.traces import SPAN_S, TracePlots
from imufeedback.app.tracks import Book, Choice, RepEntry, Track, track_of
from imufeedback.app.trouble import Trouble, Troubles
from imufeedback.app.turn_plot import TurnPlot
from imufeedback.cues.telling import Telling
from imufeedback.figure.drawing import DrawnExtras as Drawn
from imufeedback.phrases import phrase
from imufeedback.records import (
    BlockBegun,
    ClockFitted,
    ClockRestarted,
    Cue,
    Doubted,
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
    StepTold,
    SwapOffered,
    Unjudged,
    Zeroed,
)

STALE_S = 0.5
"""An older angle is not shown as a number any more, and the live state is not believed any more."""
NO_STATE = (Phase.WAITING, Phase.ADDRESS, Phase.BACKSWING, Phase.FINISH)
"""Phases in which there is no live state: a swing that stalled shall not end in the colour of its last moment."""
MOVING = (Phase.BACKSWING, Phase.DOWNSWING, Phase.THROUGH_SWING)
"""Phases in which another rep can be drawn at the same place."""
REP_S = 40.0
"""A rep is no longer than this."""
MARKS_KEPT = 96
"""Newest marks; more than fit into the span."""


class BayView(QWidget):
    """The panels of one session. `hear` takes rare events, `draw` one frame; both in the Qt thread."""

    reps_changed = Signal()
    """A rep came, or something is known or said about one."""

    def __init__(
        self,
        hand: Hand,
        meaning: Meaning = lambda key: None,
        on_painted: Callable[[float], None] | None = None,
        samples: Callable[[float], Snapshot] | None = None,
        earlier: Track | None = None,
        on_body: Callable[[float], None] | None = None,
    ) -> None:
        """`samples` gives the last so many seconds, for the curve of a rep; `earlier` is one of an earlier session."""
        super().__init__()
        self._samples = samples
        self.book = Book(earlier)
        self.choice = Choice.BEST
        self.telling = Telling()
        self.paused = False
        self.turn = TurnPlot()
        self.body = BodyView(hand, on_painted=on_body)
        self.panels = make_all()
        self.panel = StatePanel(hand.trail)
        self.step = StepPanel(hand)
        self.strip_title, self.strip = QLabel(phrase("strip_title")), LastReps()
        self.plots = TracePlots(hand, on_painted)
        self.key = QLabel(phrase("lines_key"))
        self.key.setWordWrap(True)
        self.table_title = QLabel(phrase("table_title"))
        self.no_reps = QLabel(phrase("no_reps_yet"))
        self.table = RepTable(meaning)
        self.messages = MessageLine()
        self.sensors = SensorLine()
        self.sound = QLabel()
        self.recording = ElidedLabel()
        self._motion = Motion.IDLE
        self._phase = Phase.WAITING
        self._held = False
        self.result: Result | None = None
        """The last rep's, from its end until the next address; None while there is none."""
        self.target_deg: float | None = None
        self._had_angle = False
        self._muted = False
        self._last_tone: str | None = None
        self._delay_ms: float | None = None
        self._sound_trouble = ""
        self._troubles = Troubles(self.sensors.name_of)
        self._spans = PhaseSpans()
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
        column.addWidget(self.step)
        strip = QHBoxLayout()
        self._foldable = [strip]
        strip.setSpacing(10)
        strip.addWidget(self.strip_title)
        strip.addWidget(self.strip, 1)
        column.addLayout(strip)
        column.addLayout(self._middle(), 1)
        column.addWidget(self.messages)
        column.addWidget(self.sensors)
        said, self._bottom = QHBoxLayout(), QHBoxLayout()
        said.setSpacing(14)
        self._bottom.setSpacing(14)
        self.sound.setWordWrap(True)
        said.addWidget(self.sound, 2)  # words that wrap take no room that nobody gives them
        said.addWidget(self.recording, 1)
        self._bottom.addLayout(said, 1)
        self._foldable += [self._bottom]
        column.addLayout(self._bottom)

    def _middle(self) -> QHBoxLayout:
        left, right = QVBoxLayout(), QVBoxLayout()
        left.setSpacing(2)
        left.addWidget(self.plots, 1)
        left.addWidget(self.key)
        self.no_reps.setWordWrap(True)
        right.setSpacing(4)
        right.addWidget(self.turn, 50)
        for widget in (*self.panels, self.table_title, self.no_reps):
            right.addWidget(widget)
        right.addWidget(self.table, 50)
        row = QHBoxLayout()
        self._foldable += [row]
        row.setSpacing(10)
        row.addLayout(left, 41)
        row.addWidget(self.body, 18)
        row.addLayout(right, 41)
        return row

    def add_buttons(self, buttons: list[QPushButton]) -> None:
        """Put the window's buttons at the right of the lowest line."""
        self._buttons = buttons
        row = QHBoxLayout()
        for button in buttons:
            row.addWidget(button)
        self._bottom.addLayout(row)

    def rescale(self, scale: float, room: int) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high; `room` is its width. Where three columns
        have no room they stand below each other, and the view scrolls."""
        narrow = room < NARROW * scale
        for layout in self._foldable:
            fold(layout, narrow=narrow)
        parts: tuple[tuple[QWidget, int], ...] = (
            (self.plots, 420),
            (self.body, 300),
            (self.turn, 260),
            (self.table, 200),
        )
        for widget, least in parts:
            widget.setMinimumHeight(round(least * scale) if narrow else 0)
        self.panel.rescale(scale, tall=narrow)
        self.sensors.rescale(scale, short=narrow)
        for part in (self.plots, self.turn, self.table, self.messages):
            part.rescale(scale)
        for panel in self.panels:
            panel.rescale(scale)
        self.step.rescale(16 * scale)
        self.step.setFixedHeight(round(110 * scale))
        self.strip.rescale(42 * scale)
        self.strip_title.setFont(pixel_font(13 * scale))
        self.table_title.setFont(pixel_font(14 * scale, bold=True))
        for widget in (self.key, self.no_reps, self.sound, self.recording, *self._buttons):
            widget.setFont(pixel_font(13 * scale))
        for button in self._buttons:
            button.setMinimumHeight(max(round(26 * scale), TARGET))

    # ── events ───────────────────────────────────────────────────────────────────────────────────────────────────

    def _make_hearers(self) -> Mapping[type, Callable[[Any], None]]:
        notice = self.messages.show_notice
        return {
            StateChanged: self._hear_state,
            PhaseChanged: self._hear_phase,
            Rep: self._hear_rep,
            Finding: self._hear_finding,
            Unjudged: self.table.add_unjudged,
            Cue: self._hear_cue,
            Link: self.sensors.hear,
            Gap: self.sensors.hear,
            ClockFitted: self.sensors.hear,
            ClockRestarted: lambda event: notice(phrase("restarted", sensor=event.sensor)),
            Fitted: lambda event: notice(words.fitted(event.fit.level)),
            FitRefused: lambda event: notice(phrase("fit_refused", reason=event.reason)),
            FitStep: lambda event: notice(phrase("fit_step", number=event.number, of=event.of, say=event.say)),
            SwapOffered: lambda event: notice(event.text),
            Slipped: lambda event: notice(event.text),
            Zeroed: self._hear_zeroed,
            BlockBegun: lambda event: notice(phrase("block_begun", name=event.name)),
            Doubted: lambda event: notice(event.text),
            Notice: lambda event: notice(event.text),
            Fault: self._hear_fault,
        }

    def _hear_zeroed(self, event: Zeroed) -> None:
        # at every address it happens by itself; only who asked for it wants an answer
        if event.reason == "asked":
            self.messages.show_notice(phrase("zeroed", reason=event.reason))

    def hear(self, event: Event) -> None:
        """Show one rare event; what has no place on this screen is left to the recording."""
        self._troubles.hear(event)
        allowed = self.telling.hear(event)
        if isinstance(event, Rep) and event not in allowed:
            self._hear_untold(event)
        for one in allowed:
            self._show(one)

    def tell_all(self) -> None:
        """Show what was held back: no more comes."""
        for one in self.telling.rest():
            self._show(one)

    def _show(self, event: Event) -> None:
        hearer = self._hearers.get(type(event))
        if hearer is not None:
            hearer(event)

    def _hear_fault(self, fault: Fault) -> None:
        self.messages.show_fault(phrase("fault", where=fault.where, what=fault.what))
        if fault.where == "recording":
            self.recording.show_text(phrase("not_recorded", why=fault.what))

    def _hear_untold(self, rep: Rep) -> None:
        """It counts, and can be discarded or noted; what came of it is shown later."""
        self.book.add(rep, self._track(rep), told=False)
        self._motion = Motion.IDLE
        self.messages.show_notice(phrase("rep_done", number=rep.index + 1))
        self._compare()

    def _track(self, rep: Rep) -> Track | None:
        if self._samples is None or rep.void:
            return None
        seen = self._samples(REP_S)
        return track_of(rep, seen.t_s, seen.angle_deg, seen.pose_deg)

    def _hear_state(self, event: StateChanged) -> None:
        self._motion = event.state
        if event.state in (Motion.STALLED, Motion.GROWING):
            self._states.append(StateMark(event.onset_s, float(np.degrees(event.thigh_angle_rad)), event.state))

    def _hear_phase(self, event: PhaseChanged) -> None:
        self._phase = event.phase
        self.panel.state.show_phase(event.phase)
        self._spans.hear(event)
        if event.phase in NO_STATE:
            self._motion = Motion.IDLE
        if event.phase not in (Phase.WAITING, Phase.FINISH):
            self._held = False
            self._show_result()

    def _hear_rep(self, rep: Rep) -> None:
        self.table.add_rep(rep)
        self.no_reps.hide()
        before = self.book.find(rep.index)
        if rep.void:
            self.messages.show_notice(phrase("void_rep", number=rep.index + 1, reason=rep.void))
        else:
            self._times.extend(marks_of(rep))
        # a rep that was held back has its curve already: the samples may be gone by now
        self.book.add(rep, self._track(rep) if before is None else None)
        self._held, self._motion = True, Motion.IDLE
        self._compare()

    def _hear_finding(self, finding: Finding) -> None:
        self.table.add_finding(finding)
        self.book.add_finding(finding)
        self._compare()

    def _compare(self) -> None:
        self.turn.show_tracks(*self.book.pair(self.choice))
        for panel in self.panels:
            panel.show_book(self.book, self.choice)
        self.strip.show_reps(self.book.counted)
        self._show_result()
        self.reps_changed.emit()

    def _show_result(self) -> None:
        last = self.book.last
        self.result = result_of(last, self.target_deg) if self._held and last is not None else None
        self.panel.state.show_result(self.result)

    # ── what the coach says ──────────────────────────────────────────────────────────────────────────────────────

    def show_choice(self, choice: Choice) -> None:
        """Compare the last rep with another one."""
        self.choice = choice
        self._compare()

    def show_entry(self, entry: RepEntry) -> None:
        """Something was said about a rep."""
        self.table.show_flags(entry.rep.index, words.rep_flags(entry.good, entry.discarded, entry.note))
        self._compare()

    def show_target(self, target_deg: float | None) -> None:
        """The target of the trail thigh angle; None shows none."""
        self.target_deg = target_deg
        self.plots.show_target(target_deg)
        self.turn.show_target(target_deg)
        self._show_result()

    def show_step(self, told: StepTold | None, rule_set: str) -> None:
        """The step of a drill; None where none is done."""
        self.step.show_step(told, rule_set)

    def show_theme(self, theme: Theme) -> None:
        for part in (self.body, self.step, self.strip):
            part.show_theme(theme)

    def show_paused(self, paused: bool) -> None:
        self.paused = paused

    def _hear_cue(self, cue: Cue) -> None:
        self._last_tone = cue.sound
        self.show_muted(self._muted)

    def show_muted(self, muted: bool) -> None:
        """Say whether tones sound."""
        self._muted = muted
        self.sound.setText(words.sound_line(muted, self._last_tone, self._delay_ms, self._sound_trouble))

    def show_delay(self, delay_ms: float | None) -> None:
        """Running estimate of the delay from motion to sound; None while there is none."""
        if delay_ms != self._delay_ms:
            self._delay_ms = delay_ms
            self.show_muted(self._muted)

    def show_sound_trouble(self, trouble: str) -> None:
        """Why no tone can be heard; empty while it can."""
        if trouble != self._sound_trouble:
            self._sound_trouble = trouble
            self.show_muted(self._muted)

    @property
    def trouble(self) -> Trouble | None:
        """The worst that is wrong now; None when all is well."""
        line = self.sensors
        return self._troubles.worst(line.gone, self._sound_trouble, line.low, closed=line.closed, muted=self._muted)

    # ── frames ───────────────────────────────────────────────────────────────────────────────────────────────────

    def draw(self, snapshot: Snapshot) -> None:
        """Traces and live state of one frame."""
        spans = self._spans.between(snapshot.now_s - SPAN_S - 0.1, snapshot.now_s)  # the edge of a pixel more
        visible = self.visible(snapshot)
        self.plots.draw(visible, self._times, self._states, spans)
        shown = self.shown(snapshot)
        self.panel.state.show_state(shown)
        self.panel.state.show_trouble(self.trouble_in(shown))
        self.body.show_pose(*self.body_of(visible))

    def trouble_in(self, shown: PanelState) -> Trouble | None:
        """The trouble to show in a state: none after the end."""
        return None if shown is PanelState.FINISHED else self.trouble

    def body_of(self, snapshot: Snapshot) -> tuple[Floats | None, Drawn, str]:
        """The newest pose with what is drawn beside it, and the name of the rep that is drawn over it."""
        angles, sds = newest(snapshot)
        turn_deg = angles[TURN]
        if not len(snapshot.pose_deg) or turn_deg is None:
            return None, Drawn(self.target_deg), ""
        pose, ghost, name = snapshot.pose_deg[-1], None, ""
        reference = self.book.reference(self.choice)
        if reference is not None and self._phase in MOVING:
            ghost = reference.pose_at(turn_deg, down=self._phase is not Phase.BACKSWING)
        if reference is not None and reference.pose_deg is not None:
            name = words.reference_short(self.choice, reference)
        shanks = bool(np.isfinite(pose[-2:]).any())
        return pose, Drawn(self.target_deg, sds[TRAIL_THIGH], sds[TURN], ghost, shanks), name

    def show_numbers(self, snapshot: Snapshot) -> None:
        """The newest angles as numbers; less often than frames, so that they can be read."""
        snapshot = self.visible(snapshot)
        angles, sds = newest(snapshot)
        self.panel.angle.show_angle(angles[TRAIL_THIGH], sds[TRAIL_THIGH])
        self.plots.show_values(angles)
        self.plots.show_empty(self._empty_words())
        self.turn.draw_live(snapshot)
        self.messages.tidy()

    def _empty_words(self) -> str:
        if self.telling.quiet:
            return phrase("hidden_angles")
        if self._had_angle:
            return phrase("no_angle")
        return phrase("waiting_for_calibration") if self.sensors.streaming else phrase("waiting_for_sensors")

    def shown(self, snapshot: Snapshot) -> PanelState:
        """What there is to say now."""
        if snapshot.finished:
            return PanelState.FINISHED
        self._had_angle = self._had_angle or bool(np.isfinite(snapshot.angle_deg[:, TRAIL_THIGH]).any())
        if not self._had_angle:
            return PanelState.CALIBRATION if self.sensors.streaming else PanelState.NO_SENSORS
        known_s = snapshot.t_s[np.isfinite(snapshot.angle_deg[:, TRAIL_THIGH])]
        if not len(known_s) or snapshot.now_s - known_s[-1] > STALE_S:
            return PanelState.NO_SIGNAL
        if self.sensors.gone:
            return PanelState.NO_SIGNAL  # the angle may still come: the rep will not count all the same
        if self.paused:
            return PanelState.PAUSED
        if self.telling.asks is not None:
            return PanelState.ASKING
        return PanelState.UNTOLD if self.telling.untold else PanelState.of(self._motion)

    def visible(self, snapshot: Snapshot) -> Snapshot:
        """The snapshot as it may be drawn: where the result comes later, the angles would tell it."""
        if not self.telling.quiet or snapshot.finished:
            return snapshot
        return replace(snapshot, angle_deg=np.full_like(snapshot.angle_deg, np.nan), pose_deg=snapshot.pose_deg[:0])


def newest(snapshot: Snapshot) -> tuple[list[float | None], list[float | None]]:
    """Angles and standard deviations of the newest sample in degrees; None where they are not known now."""
    if snapshot.finished or snapshot.age_s > STALE_S or not len(snapshot.t_s):
        return [None] * TRACES, [None] * TRACES
    return _known(snapshot.angle_deg[-1]), _known(snapshot.sd_deg[-1])


def _known(values: Floats) -> list[float | None]:
    return [float(value) if np.isfinite(value) else None for value in values]
