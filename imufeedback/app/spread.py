"""Values of reps as dots on a line, with the limit among them: how a limit sits in what the player does."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

from PySide6.QtCore import QPointF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from imufeedback.app import numerals, palette, words
from imufeedback.app.labels import pixel_font
from imufeedback.phrases import phrase


class Spread(QWidget):
    """Dots, the limit as a line, and the same in words below."""

    def __init__(self, values: Sequence[float], limit: float, unit: str) -> None:
        super().__init__()
        self.values, self.limit, self._unit = sorted(values), limit, unit
        self._scale = 1.0
        self.show_limit(limit)

    def show_limit(self, limit: float) -> None:
        self.limit = limit
        self.setAccessibleName(self.told())
        self.update()

    def told(self) -> str:
        """The same in words."""
        if not self.values:
            return phrase("no_values_yet")
        said = (numerals.quantity(one, self._unit) for one in (median(self.values), self.values[0], self.values[-1]))
        return words.values_today(len(self.values), *said)

    def rescale(self, scale: float) -> None:
        self._scale = scale
        self.setFixedHeight(round((44 if self.values else 22) * scale))

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(round(360 * self._scale), self.height())

    def place(self, value: float) -> float:
        """Pixels from the left."""
        low, high = min(*self.values, self.limit), max(*self.values, self.limit)
        edge = 10 * self._scale
        return edge + (self.width() - 2 * edge) * ((value - low) / (high - low) if high > low else 0.5)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        scale = self._scale
        painter.setFont(pixel_font(13 * scale))
        painter.setPen(QColor(palette.SOFT_INK))
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignBottom, self.told())
        if self.values:
            middle = 12 * scale
            painter.setPen(QPen(QColor(palette.RULE_LINE), 1.5))
            painter.drawLine(QPointF(0, middle), QPointF(self.width(), middle))
            painter.setPen(QPen(QColor(palette.ALARM_INK), 2 * scale, Qt.PenStyle.DashLine))
            at = self.place(self.limit)
            painter.drawLine(QPointF(at, 0), QPointF(at, 2 * middle))
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(palette.BLUE))
            for value in self.values:
                painter.drawEllipse(QPointF(self.place(value), middle), 4.5 * scale, 4.5 * scale)
        painter.end()
