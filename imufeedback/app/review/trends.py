"""Trends over weeks: a feature's mean and spread, session by session, with and without tones apart."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.phrases import phrase
from imufeedback.record.library import Library

FIRST = ("trail_thigh_flat_turn_deg", "trail_thigh_loss_top_finish_deg", "trail_thigh_angle_top_deg")
"""Features at the head of the list."""
KINDS = (
    (True, "with tones", palette.BLUE, "o", Qt.PenStyle.SolidLine),
    (False, "without tones", palette.LEAD, "t1", Qt.PenStyle.DashLine),
    (None, "tones not noted", palette.SOFT_INK, "s", Qt.PenStyle.DotLine),
)


class TrendPage(QWidget):
    """One plot and the choice of the feature."""

    def __init__(self, library: Library) -> None:
        super().__init__()
        self._library = library
        self._player: str | None = None
        self.feature = QComboBox()
        self.feature.setMinimumContentsLength(34)
        self.feature.currentIndexChanged.connect(lambda *_: self._draw())
        self.plot = pg.PlotWidget(background=palette.PAPER)
        item = self.plot.getPlotItem()
        item.setMenuEnabled(False)
        item.hideButtons()
        item.showGrid(x=False, y=True, alpha=0.15)
        for name in ("left", "bottom"):
            item.getAxis(name).setTextPen(pg.mkPen(palette.SOFT_INK))
            item.getAxis(name).setStyle(tickFont=pixel_font(12))
        self.words = QLabel()
        row = QHBoxLayout()
        row.addWidget(QLabel(phrase("review.show")))
        row.addWidget(self.feature)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.addLayout(row)
        column.addWidget(self.plot, 1)
        column.addWidget(self.words)

    def show_player(self, player: str | None) -> None:
        self._player = player
        there = self._library.features
        chosen = self.feature.currentData()
        self.feature.blockSignals(True)
        self.feature.clear()
        for name in [*(one for one in FIRST if one in there), *(one for one in there if one not in FIRST)]:
            self.feature.addItem(feature_words(name), name)
        self.feature.setCurrentIndex(max(self.feature.findData(chosen), 0))
        self.feature.blockSignals(False)
        self._draw()

    def _draw(self) -> None:
        item = self.plot.getPlotItem()
        item.clear()
        name = self.feature.currentData()
        points = self._library.trend(name, self._player) if name else []
        if not points:
            self.words.setText(phrase("review.no_judged_reps_yet_open"))
            return
        places = {path: k for k, path in enumerate(dict.fromkeys(one.path for one in points))}
        for kind, _, colour, symbol, style in KINDS:
            chosen = [one for one in points if one.tones is kind]
            if chosen:
                x = np.array([places[one.path] for one in chosen], dtype=np.float64)
                mean, sd = np.array([one.mean for one in chosen]), np.array([one.sd for one in chosen])
                item.addItem(pg.ErrorBarItem(x=x, y=mean, height=2 * sd, beam=0.08, pen=pg.mkPen(colour, width=1)))
                pen, brush = pg.mkPen(colour, width=2, style=style), pg.mkBrush(colour)
                item.addItem(pg.PlotDataItem(x, mean, pen=pen, symbol=symbol, symbolSize=9, symbolBrush=brush))
        days = {places[one.path]: "?" if one.started is None else f"{one.started:%d %b}" for one in points}
        step = max(len(days) // 12, 1)
        item.getAxis("bottom").setTicks([[(k, days[k]) for k in sorted(days)[::step]]])
        item.setLabel("left", self.feature.currentText(), color=palette.SOFT_INK)
        item.autoRange(padding=0.08)
        shown = {one.tones for one in points}
        key = " &nbsp; ".join(f"<span style='color:{c}'>●</span> {w}" for k, w, c, _, _ in KINDS if k in shown)
        self.words.setText(f"{key} &nbsp; {phrase('review.bars_spread_of_the_reps')}")


def feature_words(name: str) -> str:
    """A feature's name with its unit in brackets."""
    for end, unit in (("_deg_s", "°/s"), ("_deg", "degrees"), ("_s", "s")):
        if name.endswith(end):
            return f"{name.removesuffix(end).replace('_', ' ')} ({unit})"
    return name.replace("_", " ")
