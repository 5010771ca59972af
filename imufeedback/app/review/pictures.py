"""The two pictures of the review: lines of several reps, and the figure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPointF, Qt
from PySide6.QtGui import QColor, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QGraphicsPathItem, QSizePolicy, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.review.figure import BONES, THIGH_M, TRUNK_M, Figure, View, seen
from imufeedback.app.review.model import Overlaid
from imufeedback.app.traces import finite_runs
from imufeedback.app.words import tr
from imufeedback.records import Floats, Hand

RIGHT_COLOUR, WRONG_COLOUR, PLAYED_COLOUR = palette.BLUE, "#B34700", palette.INK
LINES_MAX = 40
"""More lines at once cannot be told apart, and cost time."""


class OverlayPlot(pg.PlotWidget):  # type: ignore[misc]  # pyqtgraph carries no types
    """Lines of reps with their bands; the played one is darker and carries the cursor."""

    def __init__(self) -> None:
        super().__init__(background=palette.PAPER)
        self.setAntialiasing(True)
        plot = self.getPlotItem()
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.showGrid(x=True, y=True, alpha=0.12)
        for name in ("left", "bottom"):
            axis = plot.getAxis(name)
            axis.setPen(pg.mkPen(palette.RULE_LINE))
            axis.setTextPen(pg.mkPen(palette.SOFT_INK))
            axis.setStyle(tickFont=pixel_font(12))
        self._cursor = pg.InfiniteLine(angle=90, pen=pg.mkPen(palette.INK, width=1))
        self._zero = [pg.InfiniteLine(0.0, angle=angle, pen=pg.mkPen(palette.RULE_LINE, width=1)) for angle in (0, 90)]
        self._empty = pg.TextItem(tr("choose reps in the table"), color=palette.SOFT_INK, anchor=(0.5, 0.5))
        self._empty.setFont(pixel_font(15))
        self.lines: list[Overlaid] = []

    def show_lines(self, lines: Sequence[Overlaid], played: int | None, x_title: str, y_title: str) -> None:
        """Draw these and nothing else; `played` is the index of the rep that the cursor belongs to."""
        plot = self.getPlotItem()
        plot.clear()
        for line in self._zero:
            plot.addItem(line, ignoreBounds=True)
        self.lines = list(lines[:LINES_MAX])
        for one in sorted(self.lines, key=lambda one: one.rep == played):
            colour = WRONG_COLOUR if one.fault else RIGHT_COLOUR
            plot.addItem(_band(one, colour))
            style = Qt.PenStyle.DashLine if one.fault else Qt.PenStyle.SolidLine
            pen = pg.mkPen(colour, width=3 if one.rep == played else 1.5, style=style)
            plot.addItem(pg.PlotCurveItem(one.x, one.y, pen=pen, connect="finite"))
        self._cursor.setVisible(False)
        plot.addItem(self._cursor, ignoreBounds=True)
        plot.addItem(self._empty, ignoreBounds=True)
        self._empty.setVisible(not self.lines)
        plot.setLabel("bottom", x_title, color=palette.SOFT_INK)
        plot.setLabel("left", y_title, color=palette.SOFT_INK)
        if self.lines:
            plot.autoRange(padding=0.04)

    def show_cursor(self, x: float | None) -> None:
        self._cursor.setVisible(x is not None and bool(np.isfinite(x)))
        if x is not None and np.isfinite(x):
            self._cursor.setValue(x)


def _band(line: Overlaid, colour: str) -> QGraphicsPathItem:
    item = QGraphicsPathItem()
    fill = QColor(colour)
    fill.setAlpha(30)
    item.setBrush(fill)
    item.setPen(QPen(Qt.PenStyle.NoPen))
    path = QPainterPath()
    low, high = line.y - line.sd, line.y + line.sd
    for first, last in finite_runs(np.isfinite(low) & np.isfinite(high) & np.isfinite(line.x)):
        pick = np.unique(np.r_[first:last:4, last - 1])
        x: Floats = np.concatenate((line.x[pick], line.x[pick][::-1]))
        y: Floats = np.concatenate((low[pick], high[pick][::-1]))
        path.addPolygon(pg.functions.arrayToQPolygonF(x, y))
    item.setPath(path)
    return item


class FigureView(QWidget):
    """Pelvis and legs from one side. Solid lines: trail side and pelvis; the lead side is thinner."""

    def __init__(self) -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setMinimumSize(180, 200)
        self._figure: Figure | None = None
        self._hand = Hand.RIGHT
        self._view = View.FACE_ON

    def show_figure(self, figure: Figure | None, hand: Hand) -> None:
        self._figure, self._hand = figure, hand
        self.update()

    def show_view(self, view: View) -> None:
        self._view = view
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.fillRect(self.rect(), QColor(palette.PAPER))
        painter.setFont(pixel_font(12))
        if self._figure is None:
            painter.setPen(QColor(palette.SOFT_INK))
            painter.drawText(self.rect(), Qt.AlignmentFlag.AlignCenter, tr("no angles here"))
        else:
            self._paint(painter, seen(self._figure, self._view, self._hand))
        painter.end()

    def _paint(self, painter: QPainter, places: dict[str, tuple[float, float]]) -> None:
        low = 0.0 if self._view is View.TOP else min(up for _, up in places.values())
        middle, reach = (low + TRUNK_M) / 2, max((TRUNK_M - low) / 2, THIGH_M) * 1.15
        scale = min(self.width(), self.height() - 30) / (2 * reach)

        def at(name: str) -> QPointF:
            right, up = places[name]
            return QPointF(self.width() / 2 + scale * right, self.height() / 2 - scale * (up - middle))

        for begin, end in BONES:
            if begin in places and end in places:
                painter.setPen(self._pen(begin, end))
                painter.drawLine(at(begin), at(end))
        painter.setPen(QColor(palette.SOFT_INK))
        self._label(painter)

    def _pen(self, begin: str, end: str) -> QPen:
        trail, lead = str(self._hand.trail), str(self._hand.lead)
        if begin.startswith(trail) and end.startswith(trail):
            colour, width = palette.TRAIL, 6
        elif begin.startswith(lead) and end.startswith(lead):
            colour, width = palette.LEAD, 4
        else:
            colour, width = palette.INK, 4
        pen = QPen(QColor(colour), width)
        pen.setCapStyle(Qt.PenCapStyle.RoundCap)
        return pen

    def _label(self, painter: QPainter) -> None:
        trail = tr("trail leg")
        painter.setPen(QColor(palette.TRAIL))
        painter.drawText(8, self.height() - 8, trail)
        painter.setPen(QColor(palette.LEAD))
        painter.drawText(8 + painter.fontMetrics().horizontalAdvance(trail + "   "), self.height() - 8, tr("lead leg"))
