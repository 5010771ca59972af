"""The review's picture of several reps as lines over each other. (The body is `imufeedback.app.body_view`.)"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPainterPath, QPen
from PySide6.QtWidgets import QGraphicsPathItem

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.review.model import Overlaid
from imufeedback.app.traces import finite_runs
from imufeedback.phrases import phrase
from imufeedback.records import Floats

LINES_MAX = 40
"""More lines at once cannot be told apart, and cost time."""


class OverlayPlot(pg.PlotWidget):  # type: ignore[misc]  # pyqtgraph carries no types
    """Lines of reps with their bands; the played one is darker and carries the cursor."""

    def __init__(self) -> None:
        super().__init__()
        self.setAntialiasing(True)
        plot = self.getPlotItem()
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.showGrid(x=True, y=True, alpha=0.12)
        for name in ("left", "bottom"):
            plot.getAxis(name).setStyle(tickFont=pixel_font(12))
        self._cursor = pg.InfiniteLine(angle=90)
        self._zero = [pg.InfiniteLine(0.0, angle=angle) for angle in (0, 90)]
        self._empty = pg.TextItem(phrase("review.choose_reps_in_the_table"), anchor=(0.5, 0.5))
        self._empty.setFont(pixel_font(15))
        self.lines: list[Overlaid] = []
        self._restyle()
        look.changed.connect(self._restyle)

    def _restyle(self) -> None:
        """Lines take their colours when they are drawn anew."""
        self.setBackground(palette.PAPER)
        for name in ("left", "bottom"):
            axis = self.getPlotItem().getAxis(name)
            axis.setPen(pg.mkPen(palette.RULE_LINE))
            axis.setTextPen(pg.mkPen(palette.SOFT_INK))
        self._cursor.setPen(pg.mkPen(palette.INK, width=1))
        for line in self._zero:
            line.setPen(pg.mkPen(palette.RULE_LINE, width=1))
        self._empty.setColor(palette.SOFT_INK)

    def show_lines(
        self, lines: Sequence[Overlaid], played: int | None, x_title: str, y_title: str, why: str | None = None
    ) -> None:
        """Draw these and nothing else; `played` is the index of the rep that the cursor belongs to; `why` says why
        there are none."""
        plot = self.getPlotItem()
        plot.clear()
        for line in self._zero:
            plot.addItem(line, ignoreBounds=True)
        self.lines = list(lines[:LINES_MAX])
        for one in sorted(self.lines, key=lambda one: one.rep == played):
            colour = palette.ALARM_INK if one.fault else palette.TRAIL
            plot.addItem(_band(one, colour))
            style = Qt.PenStyle.DashLine if one.fault else Qt.PenStyle.SolidLine
            pen = pg.mkPen(colour, width=3 if one.rep == played else 1.5, style=style)
            plot.addItem(pg.PlotCurveItem(one.x, one.y, pen=pen, connect="finite"))
        self._cursor.setVisible(False)
        plot.addItem(self._cursor, ignoreBounds=True)
        plot.addItem(self._empty, ignoreBounds=True)
        self._empty.setText(phrase("review.choose_reps_in_the_table") if why is None else why)
        self._empty.setVisible(not self.lines)
        for line in self._zero:
            line.setVisible(bool(self.lines))  # they would go through the words
        plot.setLabel("bottom", x_title, color=palette.SOFT_INK)
        plot.setLabel("left", y_title, color=palette.SOFT_INK)
        if self.lines:
            plot.autoRange(padding=0.04)
        else:
            plot.setRange(xRange=(-1, 1), yRange=(-1, 1))  # around the text

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
