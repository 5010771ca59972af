"""The range view, read from three metres: one state, one number, the last five reps as marks, the next step.

Nothing moves that need not: the number stays while it changes by less than a degree, and nothing is animated.
"""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFontMetrics, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from imufeedback.app import numerals, words
from imufeedback.app.labels import pixel_font, scale_of
from imufeedback.app.next_words import VOID, next_words
from imufeedback.app.palette import Shown, Sign
from imufeedback.app.signs import paint_sign
from imufeedback.app.theme import LIGHT, Theme
from imufeedback.app.tracks import Entry

STILL_DEG = 0.75
"""The number follows the angle only when it is further away than this."""
MARKS = 5


class RangeView(QWidget):
    """Everything is painted, and painted anew only when something that is shown has changed."""

    def __init__(self, side: str) -> None:
        super().__init__()
        self.theme: Theme = LIGHT
        self.state = _Block()
        self.number = QLabel(numerals.UNKNOWN)
        self.caption = QLabel(words.angle_title(side))
        self.marks = LastReps()
        self.next, self.why = QLabel(), QLabel()
        self.shown = Shown.NO_SENSORS
        self._angle_deg: float | None = None
        self._last: Entry | None = None
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setObjectName("range")
        self._arrange()
        self.show_theme(LIGHT)

    def _arrange(self) -> None:
        self._left, self._right = QVBoxLayout(), QVBoxLayout()
        self._left.addWidget(self.number, 1)
        self._left.addWidget(self.caption)
        self._right.addStretch(1)
        self._right.addWidget(self.marks)
        self._right.addStretch(1)
        row = QHBoxLayout()
        row.addLayout(self._left, 52)
        row.addLayout(self._right, 48)
        self._column = column = QVBoxLayout(self)
        column.addWidget(self.state, 36)
        column.addLayout(row, 42)
        column.addWidget(self.next, 18)
        column.addWidget(self.why, 9)
        self.why.hide()
        for label in (self.number, self.next, self.why):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.next.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.why.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)

    def show_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.setStyleSheet(f"#range {{ background: {theme.ground}; }} QLabel {{ color: {theme.ink}; }}")
        self.caption.setStyleSheet(f"color: {theme.soft_ink};")
        self.marks.show_theme(theme)
        self.state.show_look(self.shown, theme)

    def show_state(self, shown: Shown) -> None:
        if shown is not self.shown:
            self.shown = shown
            self.state.show_look(shown, self.theme)
            self._say()

    def show_angle(self, angle_deg: float | None) -> None:
        """Degrees; None when it is not known now."""
        before = self._angle_deg
        if angle_deg is None or before is None or abs(angle_deg - before) > STILL_DEG:
            self._angle_deg = angle_deg
            self.number.setText(numerals.degrees(angle_deg))

    def show_reps(self, entries: Sequence[Entry], last: Entry | None) -> None:
        """The last reps that count, and the last of all, which the words are about."""
        self._last = last
        self.marks.show_reps(entries[-MARKS:])
        self._say()

    def _say(self) -> None:
        self.next.setText(next_words(self.shown, self._last))
        self.next.setAccessibleName(self.next.text())
        void = self._last.rep.void if self._last is not None else ""
        self.why.setText(void)
        self.why.setVisible(bool(void) and self.next.text() == words.tr(VOID))
        self._fit_words()

    def _fit_words(self) -> None:
        self._fit_label(self.next, 0.115 if self.why.isHidden() else 0.095, bold=True)
        self._fit_label(self.why, 0.06, bold=False)

    def _fit_label(self, label: QLabel, share: float, *, bold: bool) -> None:
        """As large as the share of the height, and no larger than the width allows."""
        room = self.width() - 2 * self._column.contentsMargins().left()
        pixels = share * self.height()
        while pixels > 12 and QFontMetrics(pixel_font(pixels, bold=bold)).horizontalAdvance(label.text()) > room:
            pixels *= 0.95
        label.setFont(pixel_font(pixels, bold=bold))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self.rescale()

    def rescale(self) -> None:
        """Fit everything to the view's own size."""
        scale = scale_of(self)
        margin = round(26 * scale)
        self._column.setContentsMargins(margin, margin, margin, round(12 * scale))
        self._column.setSpacing(round(12 * scale))
        self.number.setFont(pixel_font(min(0.38 * self.height(), 0.17 * self.width()), bold=True))
        self.caption.setFont(pixel_font(0.042 * self.height()))
        self.marks.rescale(self.width(), self.height())
        self._fit_words()


class _Block(QWidget):
    """The state as sign, word and colour."""

    def __init__(self) -> None:
        super().__init__()
        self._shown, self._theme = Shown.NO_SENSORS, LIGHT
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)

    def show_look(self, shown: Shown, theme: Theme) -> None:
        self._shown, self._theme = shown, theme
        self.setAccessibleName(words.state_word(shown))
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        look, word = self._theme.state(self._shown), words.state_word(self._shown)
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(look.ground))
        painter.drawRoundedRect(QRectF(self.rect()), 0.05 * self.height(), 0.05 * self.height())
        side = 0.56 * self.height()
        left = 0.22 * self.height()
        paint_sign(painter, look.sign, QRectF(left, (self.height() - side) / 2, side, side), look.ink)
        left += side + 0.24 * self.height()
        font = pixel_font(self.fitted(word, self.width() - left - 20), bold=True)
        painter.setFont(font)
        painter.setPen(QColor(look.ink))
        painter.drawText(
            QRectF(left, 0, self.width() - left, self.height()),
            Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter,
            word,
        )
        painter.end()

    def fitted(self, word: str, room: float) -> float:
        """Pixels at which the word fits."""
        pixels = 0.62 * self.height()
        while pixels > 12 and QFontMetrics(pixel_font(pixels, bold=True)).horizontalAdvance(word) > room:
            pixels *= 0.95
        return pixels


class LastReps(QWidget):
    """The last five reps, newest at the right: a tick, a cross or a ring, and the rep's number."""

    def __init__(self) -> None:
        super().__init__()
        self._theme = LIGHT
        self.signs: list[tuple[Sign, int, bool]] = []
        """(sign, number, marked good)"""
        self._side = 80.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_reps(self, entries: Sequence[Entry]) -> None:
        self.signs = [(_sign(one), one.rep.index + 1, one.good) for one in entries]
        self.setAccessibleName(words.last_reps([(one.rep.index + 1, one.faults, one.unsure) for one in entries]))
        self.update()

    def rescale(self, width: float, height: float) -> None:
        self._side = min(0.15 * height, 0.075 * width)
        self.setFixedHeight(round(1.6 * self._side))
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(round(6.2 * self._side), round(1.6 * self._side))

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        side, step = self._side, 1.22 * self._side
        inks = {Sign.TICK: self._theme.good, Sign.CROSS: self._theme.fault, Sign.RING: self._theme.unsure}
        painter.setFont(pixel_font(0.36 * side))
        for place, (sign, number, good) in enumerate(self.signs):
            left = 0.1 * side + place * step
            paint_sign(painter, sign, QRectF(left, 0, side, side), inks[sign])
            painter.setPen(QColor(self._theme.soft_ink))
            painter.drawText(QRectF(left, 1.1 * side, side, 0.5 * side), Qt.AlignmentFlag.AlignHCenter, str(number))
            if good:  # the coach's frame
                painter.setPen(QPen(QColor(self._theme.soft_ink), max(2.0, 0.04 * side)))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRoundedRect(QRectF(left - 0.08 * side, 0.02 * side, 1.16 * side, 1.56 * side), 8, 8)
        painter.end()


def _sign(entry: Entry) -> Sign:
    if entry.faults:
        return Sign.CROSS
    return Sign.RING if entry.unsure else Sign.TICK
