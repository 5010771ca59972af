"""Marks in the traces: vertical lines at the marks of a rep, and signs where the live state went wrong."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QFont

from imufeedback.app import palette, words
from imufeedback.records import Floats, Motion, Rep

LINE_STYLES = {
    "top_s": Qt.PenStyle.DashLine,
    "impact_s": Qt.PenStyle.SolidLine,
    "finish_s": Qt.PenStyle.DotLine,
}
"""Marks that get a line, told apart by their stroke."""

NAMES_SHOWN = 8
"""Rep numbers visible at once; more reps than this do not fit in the span."""


@dataclass(frozen=True, slots=True)
class TimeMark:
    """A vertical line: which mark, when, and of which rep (counted from 1, as people do)."""

    name: str
    t_s: float
    number: int


@dataclass(frozen=True, slots=True)
class StateMark:
    """Where the trail thigh angle began to stall or grow."""

    t_s: float
    angle_deg: float
    state: Motion


def marks_of(rep: Rep) -> list[TimeMark]:
    """The marks of a rep that get a line; one that was not found gets none."""
    return [TimeMark(name, rep.marks[name], rep.index + 1) for name in LINE_STYLES if name in rep.marks]


class TimeMarks:
    """One reused curve for each kind of mark, and a handful of reused rep numbers when `named`."""

    def __init__(self, plot: pg.PlotItem, *, named: bool) -> None:
        self.lines = {name: _lines(plot, style) for name, style in LINE_STYLES.items()}
        self._names = [_name(plot) for _ in range(NAMES_SHOWN if named else 0)]
        self._plot = plot

    def draw(self, marks: Sequence[TimeMark], now_s: float, span_s: float) -> None:
        """Put the lines where the marks are, seen from `now_s`."""
        seen = [mark for mark in marks if now_s - span_s <= mark.t_s <= now_s]
        # Not longer than the axis: a dashed line far beyond the picture costs more than all traces.
        low_high = tuple(self._plot.getViewBox().viewRange()[1])
        for name, line in self.lines.items():
            ago_s = np.array([mark.t_s - now_s for mark in seen if mark.name == name])
            line.setVisible(len(ago_s) > 0)
            if len(ago_s):
                line.setData(np.repeat(ago_s, 2), np.tile(low_high, len(ago_s)))
        self._draw_names([mark for mark in seen if mark.name == "impact_s"], now_s)

    def _draw_names(self, impacts: Sequence[TimeMark], now_s: float) -> None:
        bottom = self._plot.getViewBox().viewRange()[1][0]
        for item, mark in zip(self._names, impacts[-len(self._names) :], strict=False):
            item.setText(words.rep_name(mark.number))
            item.setPos(mark.t_s - now_s, bottom)
        for count, item in enumerate(self._names):
            item.setVisible(count < len(impacts))

    def rescale(self, font: QFont) -> None:
        for item in self._names:
            item.setFont(font)


class StateMarks:
    """Signs on the trail thigh trace: a square where it stalled, a triangle where it grew."""

    def __init__(self, plot: pg.PlotItem) -> None:
        self.signs = {
            Motion.STALLED: _signs(plot, "s", palette.YELLOW),
            Motion.REGAINING: _signs(plot, "t1", palette.VERMILLION),
        }

    def draw(self, marks: Sequence[StateMark], now_s: float, span_s: float) -> None:
        for state, item in self.signs.items():
            seen = [mark for mark in marks if mark.state is state and now_s - span_s <= mark.t_s <= now_s]
            item.setVisible(bool(seen))
            if seen:
                item.setData(_column([mark.t_s - now_s for mark in seen]), _column([mark.angle_deg for mark in seen]))


def _column(values: list[float]) -> Floats:
    return np.array(values, dtype=np.float64)


def _lines(plot: pg.PlotItem, style: Qt.PenStyle) -> pg.PlotCurveItem:
    line = pg.PlotCurveItem(pen=pg.mkPen(palette.SOFT_INK, width=1, style=style), connect="pairs", antialias=False)
    line.setVisible(False)
    plot.addItem(line, ignoreBounds=True)
    return line


def _signs(plot: pg.PlotItem, symbol: str, colour: str) -> pg.ScatterPlotItem:
    pen = pg.mkPen(palette.INK, width=1)
    signs = pg.ScatterPlotItem(size=13, symbol=symbol, brush=pg.mkBrush(colour), pen=pen)
    signs.setZValue(10)
    signs.setVisible(False)
    plot.addItem(signs, ignoreBounds=True)
    return signs


def _name(plot: pg.PlotItem) -> pg.TextItem:
    item = pg.TextItem("", color=palette.SOFT_INK, anchor=(0.5, 1.0), fill=pg.mkBrush(palette.PAPER))
    item.setVisible(False)
    plot.addItem(item, ignoreBounds=True)
    return item
