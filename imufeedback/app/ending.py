"""The last page of a session: what came of it, what comes next, and the way on. Knows no session, only its reps."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent, QKeySequence
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback import resources, shipped
from imufeedback.app import keys, numerals, palette, words
from imufeedback.app.body_view import BodyView
from imufeedback.app.common_keys import add_common_keys
from imufeedback.app.keys import Screen
from imufeedback.app.labels import pixel_font
from imufeedback.app.last_reps import LastReps
from imufeedback.app.look import look
from imufeedback.app.report_writing import ReportWriter
from imufeedback.app.result import FLAT
from imufeedback.app.tracks import RepEntry
from imufeedback.document import JudgedRep, RuleFinding
from imufeedback.figure.drawing import DrawnExtras, View
from imufeedback.phrases import phrase
from imufeedback.records import Hand
from imufeedback.report import story
from imufeedback.rules import parse_rule_set

BEFORE_AFTER = 3
"""Reps at the beginning and at the end that are compared; with fewer than twice as many nothing is."""


@dataclass(frozen=True, slots=True)
class Ending:
    """What is said at the end."""

    result: str
    change: str
    best: str
    next_title: str
    next_text: str
    best_entry: RepEntry | None = None


def judged(entry: RepEntry) -> JudgedRep:
    """A rep as reports know it."""
    rep = entry.rep
    findings = [
        RuleFinding(
            rule=one.rule, t_s=one.t_s, value=one.value, limit=one.limit, unit=one.unit, verdict=one.verdict,
            text=one.text, drill=one.drill,
        )
        for one in entry.findings
    ]  # fmt: skip
    return JudgedRep(
        index=rep.index, kind=rep.kind, start_s=rep.start_s, end_s=rep.end_s, positions=dict(rep.positions),
        features=dict(rep.features), findings=findings, cues=[],
    )  # fmt: skip


def ending(entries: Sequence[RepEntry], best: RepEntry | None) -> Ending:
    """Of the reps that count, in their order."""
    if not entries:
        return Ending(phrase("no_rep_counted"), "", "", "", "")
    clean = sum(not one.faults for one in entries)
    following = story.next_drill([judged(one) for one in entries], lambda rule: shipped.words_of(rule).drill)
    assert following is not None  # there are reps
    title, text = following.title, following.text
    if following.drill in resources.available("drills"):
        title = parse_rule_set(resources.text("drills", following.drill), f"drill {following.drill}").title
    told = "" if best is None else words.best_rep(best.rep.index + 1, _flat([best]))
    return Ending(phrase("clean_reps", clean=clean, of=len(entries)), _change(entries), told, title, text, best)


def _change(entries: Sequence[RepEntry]) -> str:
    if len(entries) < 2 * BEFORE_AFTER:
        return ""
    before, after = _flat(entries[:BEFORE_AFTER]), _flat(entries[-BEFORE_AFTER:])
    return words.before_after(BEFORE_AFTER, before, after) if before and after else ""


def _flat(entries: Sequence[RepEntry]) -> str:
    """Mean stalled turn; empty when not known of all."""
    values = [one.rep.features.get(FLAT) for one in entries]
    known = [one for one in values if one is not None]
    return numerals.quantity(sum(known) / len(known), "deg") if len(known) == len(values) else ""


class EndPage(QWidget):
    """Summary at the left, best rep at the right, the way on below."""

    again_wanted = Signal()
    next_wanted = Signal()
    close_wanted = Signal()

    def __init__(self, hand: Hand) -> None:
        super().__init__()
        self.recording: Path | None = None
        self.title, self.player = QLabel(phrase("end_title")), QLabel()
        self.result, self.change, self.best = QLabel(), QLabel(), QLabel()
        self.next_title, self.next_text = QLabel(), QLabel()
        self.marks = LastReps()
        self.body = BodyView(hand, (View.PELVIS,))
        self.said = QLabel()
        self.report = self._button(phrase("report_button"), self.write_report)
        self.again = self._button(phrase("again_button"), self.again_wanted.emit)
        self.next = self._button(phrase("next_player_button"), self.next_wanted.emit)
        self.close_button = self._button(phrase("end_close_button"), self.close_wanted.emit)
        self.again.setObjectName("agree")
        self.writer = ReportWriter(self)
        self.writer.written.connect(self._show_written)
        self._arrange()
        add_common_keys(self, Screen.END)

    def _button(self, text: str, slot: Callable[[], None]) -> QPushButton:
        button = QPushButton(text)
        button.setAccessibleName(text)
        button.clicked.connect(lambda *_: slot())
        return button

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 – Qt names it
        buttons = {"again": self.again, "report": self.report, "next": self.next, "close": self.close_button}
        pressed = QKeySequence(event.key()).toString()
        name = next((one.name for one in keys.on(Screen.END) if pressed in one.keys), None)
        if name is None or event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier:
            super().keyPressEvent(event)
        else:
            if not buttons[name].isHidden():
                buttons[name].click()

    def _arrange(self) -> None:
        left = QVBoxLayout()
        for label in (self.title, self.player, self.result, self.change, self.best):
            label.setWordWrap(True)
            left.addWidget(label)
        left.addWidget(self.marks)
        self.next_head = QLabel(phrase("next_head"))
        for label in (self.next_head, self.next_title, self.next_text):
            label.setWordWrap(True)
            left.addWidget(label)
        left.addStretch(1)
        middle = QHBoxLayout()
        middle.addLayout(left, 62)
        middle.addWidget(self.body, 38)
        low = QHBoxLayout()
        for button in (self.again, self.report, self.next, self.close_button):
            low.addWidget(button)
        low.addStretch(1)
        self.said.setWordWrap(True)
        self.said.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._column = column = QVBoxLayout(self)
        column.addLayout(middle, 1)
        column.addWidget(self.said)
        column.addLayout(low)
        self.setObjectName("end")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self._restyle()
        look.changed.connect(self._restyle)

    def _restyle(self) -> None:
        self.setStyleSheet(_sheet())
        self.body.show_theme(look.theme)
        self.marks.show_theme(look.theme)

    def show_session(
        self,
        player: str,
        entries: Sequence[RepEntry],
        best: RepEntry | None,
        target_deg: float | None,
        recording: Path | None,
    ) -> None:
        """What came of a session. `recording` is what the report is made of."""
        told = ending(entries, best)
        self.recording = recording
        self.player.setText(player)
        self.result.setText(told.result)
        self.change.setText(told.change)
        self.best.setText(told.best)
        self.next_title.setText(told.next_title)
        self.next_text.setText(told.next_text)
        for label in (self.change, self.best, self.next_head, self.next_title, self.next_text):
            label.setVisible(bool(label.text()) and bool(entries))
        self.marks.show_reps(entries)
        self.marks.setVisible(bool(entries))
        self.said.setText(phrase("kept_in", path=str(recording)) if recording is not None else "")
        self.report.setEnabled(recording is not None and bool(entries))
        track = None if best is None else best.track
        pose = None if track is None or track.pose_deg is None else track.pose_deg[-1]
        self.body.setVisible(pose is not None)
        self.body.show_pose(pose, DrawnExtras(target_deg))

    def write_report(self) -> None:
        """It is judged again, and opened when it is there."""
        if self.recording is None or not self.report.isEnabled():
            return
        self.report.setEnabled(False)
        self.said.setText(phrase("report_making"))
        self.writer.write(self.recording)

    def _show_written(self, where: str, trouble: str) -> None:
        self.report.setEnabled(True)
        self.said.setText(trouble or phrase("report_written", path=where))

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        self._column.setContentsMargins(*[round(26 * scale)] * 4)
        self._column.setSpacing(round(12 * scale))
        self.title.setFont(pixel_font(30 * scale, bold=True))
        self.result.setFont(pixel_font(34 * scale, bold=True))
        self.next_title.setFont(pixel_font(26 * scale, bold=True))
        for label in (self.player, self.change, self.best, self.next_text):
            label.setFont(pixel_font(19 * scale))
        for label in (self.next_head, self.said):
            label.setFont(pixel_font(15 * scale))
        for button in (self.again, self.report, self.next, self.close_button):
            button.setFont(pixel_font(17 * scale, bold=True))
        self.marks.rescale(50 * scale)


def _sheet() -> str:
    return f"""
#end {{ background: {palette.GROUND}; }}
QLabel {{ color: {palette.INK}; }}
QPushButton {{ background: {palette.PAPER}; color: {palette.INK}; border: 2px solid {palette.RULE_LINE};
    border-radius: 6px; padding: 8px 16px; }}
QPushButton:disabled {{ color: {palette.SOFT_INK}; background: {palette.GROUND}; border-style: dashed; }}
QPushButton:focus {{ border: 2px solid {palette.BLUE}; }}
QPushButton#agree {{ background: {palette.BLUE}; color: {palette.WHITE}; border: 2px solid {palette.BLUE}; }}
QPushButton#agree:focus {{ border: 2px solid {palette.INK}; }}
"""
