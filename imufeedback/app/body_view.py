"""The body on the screen: paints the drawing of `imufeedback.figure`, live, in review, as large as there is room."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from imufeedback.app import words
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.theme import DARK, Theme
from imufeedback.figure import shapes
from imufeedback.figure.drawing import DrawnExtras, View, drawing
from imufeedback.figure.pose import THIGH_M, TURN, hip_of
from imufeedback.figure.shapes import BodyPart, Drawing, FigureShape, Ink, Label
from imufeedback.phrases import phrase
from imufeedback.records import Floats, Hand

STILL_PX = 0.3
"""A body whose thighs move less than this in the picture is not painted again."""


class BodyView(QWidget):
    """One or two views of the body, side by side or one above the other, whichever gives more room."""

    def __init__(
        self,
        hand: Hand,
        views: Sequence[View] = (View.PELVIS, View.TOP),
        on_painted: Callable[[float], None] | None = None,
    ) -> None:
        super().__init__()
        self.hand, self.views = hand, tuple(views)
        self.theme: Theme = look.theme
        self.pose: Floats | None = None
        self.shown = DrawnExtras()
        self.ghost_name = ""
        self.worded = True
        """Labels and the names of the views are written."""
        self._on_painted = on_painted
        self._still_deg = 0.0
        self._pens: dict[tuple[BodyPart, float], tuple[QPen, QColor | None]] = {}
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(120, 100)
        self.setAccessibleName(phrase("body_name"))

    def show_theme(self, theme: Theme) -> None:
        self.theme = theme
        self._pens.clear()
        self.update()

    def show_views(self, *views: View) -> None:
        self.views = views
        self.update()

    def show_hand(self, hand: Hand) -> None:
        self.hand = hand
        self.update()

    def show_pose(self, pose: Floats | None, shown: DrawnExtras, ghost_name: str = "") -> None:
        """A pose (`imufeedback.figure.pose.POSE`); None shows that the angles are not known."""
        if self._same(pose, shown) and ghost_name == self.ghost_name:
            return
        self.pose, self.shown, self.ghost_name = pose, shown, ghost_name
        self.update()

    def _same(self, pose: Floats | None, shown: DrawnExtras) -> bool:
        if pose is None or self.pose is None:
            return pose is self.pose
        if (shown.target_deg, shown.ghost is None) != (self.shown.target_deg, self.shown.ghost is None):
            return False
        named = [TURN, hip_of(self.hand.trail)]  # their degrees are written
        if not np.array_equal(np.round(pose[named]), np.round(self.pose[named]), equal_nan=True):
            return False
        if not np.array_equal(np.isnan(pose), np.isnan(self.pose)):
            return False
        return bool(np.nanmax(np.abs(pose - self.pose), initial=0.0) < self._still_deg)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        began = time.perf_counter()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(self.theme.ground))
        for view, room in zip(self.views, self._rooms(), strict=True):
            made = None if self.pose is None else drawing(self.pose, view, self.hand, self.shown)
            self._paint_view(painter, view, made, room)
        if self.ghost_name and self.shown.ghost is not None:
            painter.setPen(QColor(self.theme.soft_ink))
            painter.setFont(pixel_font(self._text()))
            foot = QRectF(8, self.height() - self._text() * 1.6, self.width() - 16, self._text() * 1.5)
            painter.drawText(foot, Qt.AlignmentFlag.AlignLeft, phrase("ghost", name=self.ghost_name))
        painter.end()
        if self._on_painted is not None:
            self._on_painted(time.perf_counter() - began)

    def _text(self) -> float:
        """Pixels of the labels."""
        room = self._rooms()[0]
        return max(12.0, 0.052 * min(room.width(), room.height()))

    def _rooms(self) -> list[QRectF]:
        count, width, height = len(self.views), float(self.width()), float(self.height())
        if self.worded and self.ghost_name:
            height -= 24.0 if height < 600 else 0.04 * height  # the line that says what the outline is
        if width > height:
            return [QRectF(k * width / count, 0, width / count, height) for k in range(count)]
        return [QRectF(0, k * height / count, width, height / count) for k in range(count)]

    def _paint_view(self, painter: QPainter, view: View, made: Drawing | None, room: QRectF) -> None:
        text = self._text()
        painter.setFont(pixel_font(text))
        painter.setPen(QColor(self.theme.soft_ink))
        if self.worded:
            title = QRectF(room.x() + 8, room.y() + 4, room.width() - 16, 1.5 * text)
            painter.drawText(title, Qt.AlignmentFlag.AlignLeft, words.view_word(view))
            room = room.adjusted(0, 1.4 * text, 0, -0.4 * text)
        if made is None:
            painter.drawText(room, Qt.AlignmentFlag.AlignCenter, phrase("no_body"))
            return
        left, bottom, right, top = made.box
        scale = min(room.width() / (right - left), room.height() / (top - bottom))
        self._still_deg = math.degrees(STILL_PX / (THIGH_M * scale))
        x0 = room.x() + room.width() / 2 - scale * (left + right) / 2
        y0 = room.y() + room.height() / 2 + scale * (bottom + top) / 2
        for shape in made.shapes:
            self._paint_shape(painter, shape, scale, x0, y0)
        if self.worded:
            for label in made.labels:
                self._paint_label(painter, label, scale, x0, y0, room)

    def _paint_shape(self, painter: QPainter, shape: FigureShape, scale: float, x0: float, y0: float) -> None:
        pen, fill = self._ink(shape.part, scale)
        painter.setPen(pen)
        polygon = QPolygonF([QPointF(x0 + scale * x, y0 - scale * y) for x, y in shape.points])
        if not shape.closed:
            painter.drawPolyline(polygon)
            return
        painter.setBrush(Qt.BrushStyle.NoBrush if fill is None else fill)
        painter.drawPolygon(polygon)

    def _ink(self, part: BodyPart, scale: float) -> tuple[QPen, QColor | None]:
        found = self._pens.get((part, scale))
        if found is None:
            if len(self._pens) > 8 * len(BodyPart):  # sizes that are gone
                self._pens.clear()
            ink: Ink = (shapes.DARK if self.theme is DARK else shapes.LIGHT)[part]
            pen = QPen(Qt.PenStyle.NoPen)
            if ink.line:
                pen = QPen(QColor(ink.line), max(1.0, ink.width_m * scale))
                pen.setCapStyle(Qt.PenCapStyle.RoundCap)
                pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
                if ink.dash:
                    pen.setCapStyle(Qt.PenCapStyle.FlatCap)
                    pen.setDashPattern([4.0, 3.0])
            fill = None
            if ink.fill:
                fill = QColor(ink.fill)
                fill.setAlphaF(ink.opacity)
            found = self._pens[part, scale] = pen, fill
        return found

    def _paint_label(self, painter: QPainter, label: Label, scale: float, x0: float, y0: float, room: QRectF) -> None:
        colours = shapes.DARK if self.theme is DARK else shapes.LIGHT
        painter.setPen(QColor(colours[label.part].line or self.theme.ink))
        said = words.body_label(label.part, label.value_deg)
        size, tall = painter.fontMetrics().horizontalAdvance(said), painter.fontMetrics().ascent()
        x = x0 + scale * label.at[0] - size * (1 + label.anchor) / 2
        x = min(max(x, room.left() + 4.0), room.right() - size - 4.0)
        painter.drawText(QPointF(x, y0 - scale * label.at[1] + tall / 2), said)
