"""Shapes that stand beside a colour, painted so that no font has to carry them."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from imufeedback.app.palette import PaintedSign

_POLYGONS = {
    PaintedSign.DOWN: ((0.0, 0.1), (1.0, 0.1), (0.5, 0.95)),
    PaintedSign.UP: ((0.0, 0.9), (1.0, 0.9), (0.5, 0.05)),
    PaintedSign.SQUARE: ((0.1, 0.1), (0.9, 0.1), (0.9, 0.9), (0.1, 0.9)),
    PaintedSign.DASH: ((0.05, 0.41), (0.95, 0.41), (0.95, 0.59), (0.05, 0.59)),
}
_STROKES = {
    PaintedSign.CROSS: (((0.12, 0.12), (0.88, 0.88)), ((0.88, 0.12), (0.12, 0.88))),
    PaintedSign.BARS: (((0.3, 0.12), (0.3, 0.88)), ((0.7, 0.12), (0.7, 0.88))),
    PaintedSign.TICK: (((0.08, 0.55), (0.38, 0.85)), ((0.38, 0.85), (0.92, 0.18))),
}


def paint_sign(painter: QPainter, sign: PaintedSign, box: QRectF, colour: str) -> None:
    """Paint a sign into a square box."""
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(colour))
    if sign in _POLYGONS:
        painter.drawPolygon(QPolygonF([_at(box, point) for point in _POLYGONS[sign]]))
    elif sign is PaintedSign.DISC:
        painter.drawEllipse(_inset(box, 0.1))
    else:
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(colour), box.width() * 0.16, c=Qt.PenCapStyle.RoundCap))
        if sign is PaintedSign.RING:
            painter.drawEllipse(_inset(box, 0.16))
        for start, end in _STROKES.get(sign, ()):
            painter.drawLine(_at(box, start), _at(box, end))


class SignMark(QWidget):
    """One sign, as large as the widget allows."""

    def __init__(self, sign: PaintedSign, colour: str) -> None:
        super().__init__()
        self.sign = sign
        self._colour = colour

    def show_sign(self, sign: PaintedSign, colour: str) -> None:
        self.sign, self._colour = sign, colour
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        side = min(self.width(), self.height())
        box = QRectF((self.width() - side) / 2, (self.height() - side) / 2, side, side)
        painter = QPainter(self)
        paint_sign(painter, self.sign, box, self._colour)
        painter.end()


def _at(box: QRectF, point: tuple[float, float]) -> QPointF:
    return QPointF(box.x() + point[0] * box.width(), box.y() + point[1] * box.height())


def _inset(box: QRectF, share: float) -> QRectF:
    by = box.width() * share
    return box.adjusted(by, by, -by, -by)
