"""A body seen from behind, with the state of every sensor in sign, word and colour where it is worn."""

from __future__ import annotations

from collections.abc import Mapping

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.signs import paint_sign
from imufeedback.app.start import texts
from imufeedback.records import LinkState, Segment

# From behind, so that left is left. Shares of the picture's height from its top, and of the height from the middle.
_BONES = {
    Segment.PELVIS: ((-0.085, 0.40), (0.085, 0.40)),
    Segment.LEFT_THIGH: ((-0.075, 0.46), (-0.085, 0.68)),
    Segment.RIGHT_THIGH: ((0.075, 0.46), (0.085, 0.68)),
    Segment.LEFT_SHANK: ((-0.085, 0.71), (-0.09, 0.94)),
    Segment.RIGHT_SHANK: ((0.085, 0.71), (0.09, 0.94)),
}
_PLACES = {
    Segment.PELVIS: (0.0, 0.40),
    Segment.LEFT_THIGH: (-0.12, 0.57),
    Segment.RIGHT_THIGH: (0.12, 0.57),
    Segment.LEFT_SHANK: (-0.125, 0.82),
    Segment.RIGHT_SHANK: (0.125, 0.82),
}
_UPPER = (((0.0, 0.17), (0.0, 0.38)), ((-0.15, 0.20), (-0.17, 0.46)), ((0.15, 0.20), (0.17, 0.46)))
"""Trunk and arms, that carry no sensor here."""


class BodyPicture(QWidget):
    """`show_links` says what there is; `show_moving` marks the segments that a calibration movement is about."""

    def __init__(self) -> None:
        super().__init__()
        self._states: dict[Segment, LinkState | None] = {}
        self._moving: tuple[Segment, ...] = ()
        self._scale = 1.0
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_links(self, states: Mapping[Segment, LinkState | None]) -> None:
        """State of the sensor on each place that is shown; None where there is none."""
        self._states = {one: state for one, state in states.items() if one in _PLACES}
        lines = [texts.place_words(one, state) for one, state in self._states.items()]
        self.setAccessibleName("; ".join(lines))
        self.update()

    def show_moving(self, segments: tuple[Segment, ...]) -> None:
        if segments != self._moving:
            self._moving = segments
            self.update()

    def rescale(self, scale: float) -> None:
        self._scale = scale
        self.update()

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(340, 380)

    def _at(self, point: tuple[float, float]) -> QPointF:
        return QPointF(self.width() / 2 + point[0] * self.height(), point[1] * self.height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._paint_body(painter)
        for segment, state in self._states.items():
            self._paint_sensor(painter, segment, state)
        painter.end()

    def _paint_body(self, painter: QPainter) -> None:
        high = self.height()
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(palette.LIMB))
        painter.drawEllipse(self._at((0.0, 0.085)), 0.055 * high, 0.07 * high)
        for (start, end), thick in zip(_UPPER, (0.16, 0.05, 0.05), strict=True):
            self._limb(painter, start, end, thick * high, palette.LIMB)
        for segment, (start, end) in _BONES.items():
            colour = palette.SKY_BLUE if segment in self._moving else palette.LIMB
            self._limb(painter, start, end, (0.10 if segment is Segment.PELVIS else 0.075) * high, colour)

    def _limb(
        self, painter: QPainter, start: tuple[float, float], end: tuple[float, float], thick: float, colour: str
    ) -> None:
        painter.setPen(QPen(QColor(colour), thick, c=Qt.PenCapStyle.RoundCap))
        painter.drawLine(self._at(start), self._at(end))

    def _paint_sensor(self, painter: QPainter, segment: Segment, state: LinkState | None) -> None:
        look = palette.Look(palette.SOFT_INK, palette.PAPER, palette.PaintedSign.DASH)
        if state is not None:
            look = palette.LINK_LOOKS[state]
        at, side = self._at(_PLACES[segment]), 0.062 * self.height()
        box = QRectF(at.x() - side / 2, at.y() - side / 2, side, side)
        painter.setPen(QPen(QColor(palette.INK), 1.5))
        painter.setBrush(QColor(palette.PAPER))
        painter.drawRoundedRect(box, 4, 4)
        inner = side * 0.2
        paint_sign(painter, look.sign, box.adjusted(inner, inner, -inner, -inner), look.ink)
        self._paint_words(painter, segment, box, texts.place_words(segment, state), look.ink)

    def _paint_words(self, painter: QPainter, segment: Segment, box: QRectF, text: str, ink: str) -> None:
        painter.setPen(QColor(ink))
        painter.setFont(pixel_font(14 * self._scale))
        text = text.replace(": ", "\n").replace(", ", "\n")
        room, high, gap = self.width() / 2, 70 * self._scale, 14 * self._scale
        if segment in (Segment.LEFT_THIGH, Segment.LEFT_SHANK):
            area = QRectF(box.left() - gap - room, box.center().y() - high / 2, room, high)
            painter.drawText(area, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, text)
        else:
            left = box.right() + gap + (0.10 * self.height() if segment is Segment.PELVIS else 0.0)
            area = QRectF(left, box.center().y() - high / 2, room, high)
            painter.drawText(area, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, text)
