"""The last ten reps as a strip, newest at the right: shape, colour and value of each."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from imufeedback.app import words
from imufeedback.app.labels import pixel_font
from imufeedback.app.palette import PaintedSign
from imufeedback.app.result import strip
from imufeedback.app.signs import paint_sign
from imufeedback.app.theme import LIGHT, Theme
from imufeedback.app.tracks import RepEntry
from imufeedback.phrases import phrase

MARKS = 10


class LastReps(QWidget):
    """Tick, cross or ring, the value beside it, the rep's number under both; the coach's frame round a good one."""

    def __init__(self) -> None:
        super().__init__()
        self._theme = LIGHT
        self.signs: list[tuple[PaintedSign, int, bool]] = []
        """(sign, number, marked good)"""
        self.values: list[str] = []
        self._side = 40.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def show_reps(self, entries: Sequence[RepEntry]) -> None:
        """The newest ten of these."""
        shown = entries[-MARKS:]
        marks = strip(shown)
        self.signs = [(sign, number, good) for sign, number, _, good in marks]
        self.values = [value for _, _, value, _ in marks]
        self.setAccessibleName(words.last_reps([(one.rep.index + 1, one.faults, one.unsure) for one in shown]))
        self.update()

    def rescale(self, height: float) -> None:
        """`height` in pixels."""
        self._side = 0.52 * height
        self.setFixedHeight(round(height))
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(round(MARKS * 2.2 * self._side), self.height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self._theme.ground))
        side, step = self._side, self.width() / MARKS
        inks = {
            PaintedSign.TICK: self._theme.good,
            PaintedSign.CROSS: self._theme.fault,
            PaintedSign.RING: self._theme.unsure,
        }
        for place, ((sign, number, good), value) in enumerate(zip(self.signs, self.values, strict=True)):
            cell = QRectF(place * step + 2, 1, step - 4, self.height() - 2)
            mark = min(side, 0.42 * step)
            paint_sign(painter, sign, QRectF(cell.x() + 4, cell.y() + 2, mark, mark), inks[sign])
            painter.setPen(QColor(self._theme.ink))
            painter.setFont(pixel_font(min(0.9 * side, 0.25 * step), bold=True))
            beside = QRectF(cell.x() + mark + 8, cell.y() + 2, cell.width() - mark - 8, mark)
            painter.drawText(beside, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, value)
            painter.setPen(QColor(self._theme.soft_ink))
            painter.setFont(pixel_font(max(11.0, 0.5 * side)))
            under = QRectF(cell.x() + 4, cell.y() + mark + 3, cell.width() - 4, cell.height() - mark - 3)
            painter.drawText(under, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, str(number))
            if good:  # the coach's frame
                painter.setPen(QPen(QColor(self._theme.soft_ink), 2.0))
                painter.setBrush(Qt.BrushStyle.NoBrush)
                painter.drawRoundedRect(cell, 6, 6)
        if not self.signs:
            painter.setPen(QColor(self._theme.soft_ink))
            painter.setFont(pixel_font(max(12.0, 0.6 * side)))
            painter.drawText(self.rect().adjusted(8, 0, 0, 0), Qt.AlignmentFlag.AlignVCenter, phrase("no_reps_short"))
        painter.end()
