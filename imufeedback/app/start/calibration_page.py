"""The calibration: what to do now in large words, the movements with what is done, the body with what moves."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import add_key, pixel_font
from imufeedback.app.look import look
from imufeedback.app.palette import PaintedSign
from imufeedback.app.scrolling import fold
from imufeedback.app.signs import SignMark
from imufeedback.app.start import texts
from imufeedback.app.start.body_picture import BodyPicture
from imufeedback.app.start.moves import TURNING
from imufeedback.app.start.readiness import Readiness
from imufeedback.app.start.sensor_page import by_place
from imufeedback.phrases import phrase


class CalibrationPage(QWidget):
    """`show_move` during the movements, `show_ready` for the rest."""

    fit_wanted = Signal()
    stored_wanted = Signal()
    answered = Signal(bool)
    """To an offered swap: True when the sensors are where the movements say."""

    def __init__(self) -> None:
        super().__init__()
        self.now = QLabel(phrase("start.fit_before"))
        self.now.setWordWrap(True)
        self.lines = [QLabel(line) for line in texts.fit_list()]
        for line in self.lines:
            line.setWordWrap(True)
        self.signs = [SignMark(PaintedSign.RING, palette.SOFT_INK) for _ in self.lines]
        self.again = QPushButton(phrase("start.fit_start"))
        add_key(self.again, "Ctrl+R")
        self.again.clicked.connect(self.fit_wanted)
        self.stored = QPushButton()
        add_key(self.stored, "Ctrl+O")
        self.stored.clicked.connect(self.stored_wanted)
        self.swap = QPushButton(phrase("start.swap_button"))
        self.keep = QPushButton(phrase("start.keep_button"))
        for button, keys, swapped in ((self.swap, "Ctrl+Y", True), (self.keep, "Ctrl+K", False)):
            add_key(button, keys)
            button.clicked.connect(lambda _=False, swapped=swapped: self._answer(swapped))
            button.hide()
        self.body = BodyPicture()
        self._done = 0
        self._arrange()
        look.changed.connect(self._restyle)

    def _arrange(self) -> None:
        right = QVBoxLayout()
        right.setSpacing(10)
        right.addWidget(self.now)
        right.addSpacing(10)
        for sign, line in zip(self.signs, self.lines, strict=True):
            row = QHBoxLayout()
            row.addWidget(sign)
            row.addWidget(line, 1)
            right.addLayout(row)
        right.addStretch(1)
        for button in (self.swap, self.keep):
            right.addWidget(button, 0, Qt.AlignmentFlag.AlignLeft)
        right.addWidget(self.again, 0, Qt.AlignmentFlag.AlignLeft)
        right.addWidget(self.stored, 0, Qt.AlignmentFlag.AlignLeft)
        self._row = row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(20)
        row.addWidget(self.body, 46)
        row.addLayout(right, 54)

    def focus(self) -> None:
        self.again.setFocus()

    def show_ready(self, ready: Readiness) -> None:
        """Before and after the movements."""
        self.body.show_links(by_place(ready))
        self.again.setText(phrase("start.fit_start") if ready.fit_level is None else phrase("start.fit_again"))
        self.again.setVisible(ready.running and not ready.virtual)
        self.again.setEnabled(not ready.calibrating and not ready.missing_places())
        self.stored.setText(texts.fit_stored(ready.stored_fit_days))
        self.stored.setVisible(self.again.isVisibleTo(self) and ready.stored_fit_days is not None)
        self.stored.setEnabled(self.again.isEnabled())
        if ready.fit_refused is not None:
            self.say(phrase("start.fit_refused", reason=ready.fit_refused))
            self.show_done(0)
        elif ready.fit_level is not None:
            self.say(texts.says_fitted(ready.fit_level))
            self.show_done(len(self.lines))
        elif ready.virtual:
            self.say(phrase("start.fit_virtual"))
        elif not ready.calibrating:
            self.say(
                phrase("start.fit_can_begin")
                if self.again.isEnabled() and ready.running
                else phrase("start.fit_before")
            )
        if not ready.calibrating:
            self.body.show_moving(())

    def offer_swap(self, text: str) -> None:
        """The movements say that sensors are elsewhere; somebody must say whether they are."""
        self.say(text)
        for button in (self.swap, self.keep):
            button.show()
        self.swap.setFocus()

    def _answer(self, swapped: bool) -> None:
        for button in (self.swap, self.keep):
            button.hide()
        self.answered.emit(swapped)

    def say(self, text: str) -> None:
        if self.now.text() != text:
            self.now.setText(text)

    def show_move(self, number: int, say: str | None = None) -> None:
        """Movement `number` (from 0) is being done."""
        self.say(say or texts.fit_now(number))
        self.show_done(number)
        self.body.show_moving(TURNING[number])

    def show_done(self, count: int) -> None:
        """So many movements are done."""
        self._done = count
        for number, sign in enumerate(self.signs):
            done = number < count
            sign.show_sign(
                PaintedSign.TICK if done else PaintedSign.RING, palette.GOOD_INK if done else palette.SOFT_INK
            )

    def _restyle(self) -> None:
        self.show_done(self._done)

    def rescale(self, scale: float, *, narrow: bool) -> None:
        fold(self._row, narrow=narrow)
        self.body.setMinimumHeight(round(300 * scale) if narrow else 0)
        self.now.setFont(pixel_font(26 * scale, bold=True))
        for button in (self.again, self.stored, self.swap, self.keep):
            button.setFont(pixel_font(15 * scale))
        self.body.rescale(scale)
        for sign, line in zip(self.signs, self.lines, strict=True):
            line.setFont(pixel_font(17 * scale))
            sign.setFixedSize(round(18 * scale), round(18 * scale))
