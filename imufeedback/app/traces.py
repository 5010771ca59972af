"""Three live traces on one time axis. Curves are made once and refilled; axes stand still, the curves run.

Time runs from `SPAN_S` ago to now. Lines are not antialiased: that alone makes drawing several times cheaper.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QGraphicsPathItem

from imufeedback.app import numerals, palette, words
from imufeedback.app.feed import LEAD_ROTATION, TRACES, TRAIL_ROTATION, TRAIL_THIGH, Snapshot
from imufeedback.app.labels import pixel_font
from imufeedback.app.marks import StateMark, StateMarks, TimeMark, TimeMarks
from imufeedback.app.ring import thinned
from imufeedback.records import Floats, Hand

SPAN_S = 10.0
ROOM_S = 1.1
"""Empty stretch after now: the newest angle stands there as a number and never on the trace."""
DRAWN_STEP_S = 0.01
"""Finer than a pixel of a wide screen; numbers, tones and recording use every sample."""
RANGE_STEP_DEG = 10.0
USUAL_RANGE_DEG = ((-30.0, 50.0), (-40.0, 40.0), (-40.0, 40.0))
"""Shown at least; wider when the angles are."""

BAND_ALPHA = 55
LINE_WIDTH = 2


@dataclass(frozen=True, slots=True)
class TraceKind:
    """Title and colour of one trace."""

    title: str
    colour: str


def trace_kinds(hand: Hand) -> list[TraceKind]:
    """The traces of a player, in the order of the columns of the feed."""
    trail, lead = words.side_word(hand.trail), words.side_word(hand.lead)
    kinds = {
        TRAIL_THIGH: TraceKind(words.thigh_title(trail), palette.TRAIL),
        TRAIL_ROTATION: TraceKind(words.trail_rotation_title(trail), palette.TRAIL),
        LEAD_ROTATION: TraceKind(words.lead_rotation_title(lead), palette.LEAD),
    }
    return [kinds[column] for column in range(TRACES)]


class TracePlots(pg.GraphicsLayoutWidget):  # type: ignore[misc]  # pyqtgraph carries no types
    """The traces of a player. `on_painted` is told what each painting cost, in seconds."""

    def __init__(self, hand: Hand, on_painted: Callable[[float], None] | None = None) -> None:
        # Set before the base class, whose constructor may already paint.
        self._on_painted = on_painted
        super().__init__()
        self.setBackground(palette.PAPER)
        self.setAntialiasing(False)
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.ci.layout.setVerticalSpacing(2)
        self.traces = [_Trace(self.addPlot(row=row, col=0), kind, row) for row, kind in enumerate(trace_kinds(hand))]
        self.traces[-1].name_time_axis()
        self._states = StateMarks(self.traces[TRAIL_THIGH].plot)

    def draw(self, snapshot: Snapshot, times: Sequence[TimeMark], states: Sequence[StateMark]) -> None:
        """Refill all curves from one snapshot; marks outside the span are left out."""
        for column, trace in enumerate(self.traces):
            rows = np.stack((snapshot.angle_deg[:, column], snapshot.sd_deg[:, column]), axis=1)
            t_s, rows = thinned(snapshot.t_s, rows, DRAWN_STEP_S)
            trace.draw(t_s - snapshot.now_s, rows[:, 0], rows[:, 1])
            trace.marks.draw(times, snapshot.now_s, SPAN_S)
        self._states.draw(states, snapshot.now_s, SPAN_S)

    def show_values(self, values_deg: Sequence[float | None]) -> None:
        """The newest angle of each trace as a number; None when it is not known."""
        for trace, value in zip(self.traces, values_deg, strict=True):
            trace.show_value(value)

    def show_empty(self, text: str) -> None:
        """Text in every plot that has no finite value to draw."""
        for trace in self.traces:
            trace.show_empty(text)

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        for trace in self.traces:
            trace.rescale(scale)

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        began = time.perf_counter()
        super().paintEvent(event)
        if self._on_painted is not None:
            self._on_painted(time.perf_counter() - began)


class _Trace:
    """One plot: band, line, marks, a number and a text for when there is nothing to draw."""

    def __init__(self, plot: pg.PlotItem, kind: TraceKind, row: int) -> None:
        self.plot = plot
        self._usual_deg = USUAL_RANGE_DEG[row]
        self._range_deg: tuple[float, float] | None = None
        self._kind = kind
        self._empty = True
        self._dress()
        self._band = _Band(kind.colour)
        self.marks = TimeMarks(plot, named=row == 0)
        self.curve = pg.PlotCurveItem(pen=pg.mkPen(kind.colour, width=LINE_WIDTH), connect="finite", antialias=False)
        plot.addItem(self._band)
        plot.addItem(self.curve)
        self._value = self._text_item((1.0, 0.0), kind.colour)
        self._nothing = self._text_item((0.5, 0.5), palette.SOFT_INK)
        self._widen(self._usual_deg)

    def _text_item(self, anchor: tuple[float, float], colour: str) -> pg.TextItem:
        item = pg.TextItem("", color=colour, anchor=anchor, fill=pg.mkBrush(palette.PAPER))
        item.setZValue(20)
        self.plot.addItem(item, ignoreBounds=True)
        return item

    def _dress(self) -> None:
        plot = self.plot
        plot.setMenuEnabled(False)
        plot.hideButtons()
        plot.setMouseEnabled(False, False)
        plot.disableAutoRange()
        plot.setXRange(-SPAN_S, ROOM_S, padding=0)
        plot.addItem(pg.InfiniteLine(0.0, angle=0, pen=pg.mkPen(palette.RULE_LINE, width=1)))
        for name in ("left", "bottom"):
            axis = plot.getAxis(name)
            axis.setPen(pg.mkPen(palette.RULE_LINE))
            axis.setTextPen(pg.mkPen(palette.SOFT_INK))
        bottom = plot.getAxis("bottom")
        bottom.setStyle(showValues=False)
        bottom.setTicks([[(-float(ago_s), words.ago(ago_s)) for ago_s in range(0, int(SPAN_S) + 1, 2)]])

    def name_time_axis(self) -> None:
        """The lowest plot carries the time for all."""
        self.plot.getAxis("bottom").setStyle(showValues=True)

    def draw(self, ago_s: Floats, angle_deg: Floats, sd_deg: Floats) -> None:
        finite = np.isfinite(angle_deg)
        self._empty = not finite.any()
        self.curve.setData(ago_s, angle_deg)
        self._band.set_band(ago_s, angle_deg - sd_deg, angle_deg + sd_deg)
        if not self._empty:
            known = angle_deg[finite]
            self._widen(wanted_range(float(known.min()), float(known.max()), self._usual_deg))

    def _widen(self, range_deg: tuple[float, float]) -> None:
        # Setting the same range again would redraw the axis in every frame.
        if range_deg != self._range_deg:
            self._range_deg = range_deg
            low, high = range_deg
            self.plot.setYRange(low, high, padding=0)
            self.plot.getAxis("left").setTicks([[(at, numerals.signed(at, 0)) for at in tick_places(low, high)]])
            self._value.setPos(ROOM_S, high)
            self._nothing.setPos(-SPAN_S / 2, 0.0)

    def show_value(self, value_deg: float | None) -> None:
        self._value.setText(numerals.degrees(value_deg))

    def show_empty(self, text: str) -> None:
        self._nothing.setVisible(self._empty)
        if self._empty and self._nothing.toPlainText() != text:
            self._nothing.setText(text)

    def rescale(self, scale: float) -> None:
        small, large = pixel_font(12 * scale), pixel_font(18 * scale, bold=True)
        self.plot.setTitle(
            self._kind.title, color=self._kind.colour, size=f"{13 * scale:.0f}px", bold=True, justify="left"
        )
        for name in ("left", "bottom"):
            self.plot.getAxis(name).setStyle(tickFont=small)
        self.plot.getAxis("left").setWidth(38 * scale)
        self._value.setFont(large)
        self._nothing.setFont(pixel_font(15 * scale))
        self.marks.rescale(small)


class _Band(QGraphicsPathItem):
    """One standard deviation to both sides of a curve, as one filled path per stretch without gap."""

    def __init__(self, colour: str) -> None:
        super().__init__()
        fill = QColor(colour)
        fill.setAlpha(BAND_ALPHA)
        self.setBrush(fill)
        self.setPen(QPen(Qt.PenStyle.NoPen))

    def set_band(self, x: Floats, low: Floats, high: Floats) -> None:
        path = QPainterPath()
        for first, last in finite_runs(np.isfinite(low) & np.isfinite(high)):
            # Every third point is enough for a band, and the band is the dearest thing in the picture.
            pick = np.unique(np.r_[first:last:3, last - 1])
            outline_x = np.concatenate((x[pick], x[pick][::-1]))
            outline_y = np.concatenate((low[pick], high[pick][::-1]))
            path.addPolygon(pg.functions.arrayToQPolygonF(outline_x, outline_y))
        self.setPath(path)


def tick_places(low: float, high: float) -> list[float]:
    """At most seven multiples of a round step."""
    step = next(step for step in (20.0, 30.0, 60.0, 90.0, 180.0, 360.0) if (high - low) / step <= 6)
    return [float(at) for at in np.arange(np.ceil(low / step) * step, high + 1e-9, step)]


def finite_runs(known: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> list[tuple[int, int]]:
    """Half-open index ranges of the stretches in which `known` ``(N,)`` holds."""
    edges = np.flatnonzero(np.diff(np.r_[False, known, False].astype(np.int8)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def wanted_range(low_deg: float, high_deg: float, usual_deg: tuple[float, float]) -> tuple[float, float]:
    """The usual range, widened in whole steps until it holds the values with a little room."""
    step = RANGE_STEP_DEG
    low = min(usual_deg[0], float(np.floor((low_deg - 2.0) / step)) * step)
    return low, max(usual_deg[1], float(np.ceil((high_deg + 2.0) / step)) * step)
