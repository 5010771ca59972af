"""Trail thigh angle against pelvis turn: a stall is a flat piece. The last rep over the one it is compared with."""

from __future__ import annotations

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt, Signal

from imufeedback.app import numerals, palette
from imufeedback.app.feed import TRAIL_THIGH, TURN, Snapshot
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.traces import TARGET_STEP_DEG, tick_places, wanted_range
from imufeedback.app.tracks import Track
from imufeedback.phrases import phrase
from imufeedback.records import Floats

USUAL_TURN_DEG, USUAL_THIGH_DEG = (-60.0, 100.0), (-20.0, 40.0)
LIVE_S = 6.0
"""The live stroke shows so much of the past."""


class TurnPlot(pg.PlotWidget):  # type: ignore[misc]  # pyqtgraph carries no types
    """Curves are made once and refilled."""

    target_moved = Signal(float)

    def __init__(self) -> None:
        super().__init__(enableMenu=False)  # its menus are never shown, and take time to make
        self.setAntialiasing(False)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setAccessibleName(phrase("turn_plot_title"))
        plot = self.getPlotItem()
        self.plot = plot
        plot.hideButtons()
        plot.setMouseEnabled(False, False)
        plot.disableAutoRange()
        self._ranges = (USUAL_TURN_DEG, USUAL_THIGH_DEG)
        self._pens: dict[pg.PlotCurveItem, tuple[str, int, Qt.PenStyle]] = {}
        self.reference = self._curve("SOFT_INK", 2, Qt.PenStyle.DashLine)
        self.live = self._curve("SKY_BLUE", 2, Qt.PenStyle.SolidLine)
        self.last = self._curve("TRAIL", 3, Qt.PenStyle.SolidLine)
        self.top = pg.ScatterPlotItem(size=10, symbol="o")
        plot.addItem(self.top)
        self._make_target()
        self._apply_ranges()
        self._scale = 1.0
        self._restyle()
        look.changed.connect(self._restyle)

    def _restyle(self) -> None:
        self.setBackground(palette.PAPER)
        self.top.setBrush(pg.mkBrush(palette.PAPER))
        self.top.setPen(pg.mkPen(palette.TRAIL))
        self.target.setPen(pg.mkPen(palette.GOOD_INK, style=Qt.PenStyle.DashDotLine))
        self.target.setHoverPen(pg.mkPen(palette.GOOD_INK, width=3))
        for name in ("left", "bottom"):
            axis = self.plot.getAxis(name)
            axis.setPen(pg.mkPen(palette.RULE_LINE))
            axis.setTextPen(pg.mkPen(palette.SOFT_INK))
        self.rescale(self._scale)

    def _curve(self, colour: str, width: int, style: Qt.PenStyle) -> pg.PlotCurveItem:
        """`colour` is a name in the palette."""
        curve = pg.PlotCurveItem(connect="finite", antialias=True)
        self.plot.addItem(curve)
        self._pens[curve] = (colour, width, style)
        return curve

    def _make_target(self) -> None:
        self.target = pg.InfiniteLine(0.0, angle=0, movable=True)
        self.target.sigPositionChangeFinished.connect(self._moved)
        self.band = pg.LinearRegionItem(
            (-180.0, 0.0), orientation="horizontal", movable=False, brush=(0, 158, 115, 30), pen=pg.mkPen(None)
        )
        self.band.setZValue(-10)
        for item in (self.band, self.target):
            item.setVisible(False)
            self.plot.addItem(item)

    def _moved(self) -> None:
        value = round(self.target.value() / TARGET_STEP_DEG) * TARGET_STEP_DEG
        self.show_target(value)
        self.target_moved.emit(value)

    def show_target(self, target_deg: float | None) -> None:
        for item in (self.band, self.target):
            item.setVisible(target_deg is not None)
        if target_deg is not None:
            self.band.setRegion((-180.0, target_deg))
            self.target.blockSignals(True)
            self.target.setValue(target_deg)
            self.target.blockSignals(False)

    def show_tracks(self, last: Track | None, reference: Track | None) -> None:
        """The last rep and what it is compared with; None leaves one out."""
        for curve, track in ((self.last, last), (self.reference, reference)):
            curve.setVisible(track is not None)
            if track is not None:
                curve.setData(track.turn_deg, track.thigh_deg)
        tops = [] if last is None else [(float(last.turn_deg[last.down_from]), float(last.thigh_deg[last.down_from]))]
        self.top.setData(*np.array(tops, dtype=float).reshape(-1, 2).T)
        tracks = [one for one in (last, reference) if one is not None]
        self._fit([one.turn_deg for one in tracks], [one.thigh_deg for one in tracks])

    def draw_live(self, snapshot: Snapshot) -> None:
        """The present stroke; a few times a second is enough."""
        first = int(np.searchsorted(snapshot.t_s, snapshot.now_s - LIVE_S))
        turn, thigh = snapshot.angle_deg[first::4, TURN], snapshot.angle_deg[first::4, TRAIL_THIGH]
        self.live.setVisible(len(turn) > 1)
        if len(turn) > 1:
            self.live.setData(turn, thigh)

    def _fit(self, turns: list[Floats], thighs: list[Floats]) -> None:
        ranges = (_range(turns, USUAL_TURN_DEG), _range(thighs, USUAL_THIGH_DEG))
        if ranges != self._ranges:
            self._ranges = ranges
            self._apply_ranges()

    def _apply_ranges(self) -> None:
        (left, right), (low, high) = self._ranges
        self.plot.setXRange(left, right, padding=0)
        self.plot.setYRange(low, high, padding=0)
        for name, (first, last) in (("bottom", (left, right)), ("left", (low, high))):
            places = tick_places(first, last)
            self.plot.getAxis(name).setTicks([[(at, numerals.signed(at, 0)) for at in places]])

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        self._scale = scale
        self.plot.setTitle(
            phrase("turn_plot_title"), color=palette.INK, size=f"{13 * scale:.0f}px", bold=True, justify="left"
        )
        for curve, (colour, width, style) in self._pens.items():
            # pens here count the screen's own pixels, of which a finer screen has more
            curve.setPen(pg.mkPen(getattr(palette, colour), width=width * self.devicePixelRatioF(), style=style))
        small = pixel_font(12 * scale)
        for name in ("left", "bottom"):
            self.plot.getAxis(name).setStyle(tickFont=small)
        self.plot.getAxis("left").setWidth(38 * scale)


def _range(many: list[Floats], usual: tuple[float, float]) -> tuple[float, float]:
    known = [one[np.isfinite(one)] for one in many]
    known = [one for one in known if len(one)]
    if not known:
        return usual
    return wanted_range(min(float(one.min()) for one in known), max(float(one.max()) for one in known), usual)
