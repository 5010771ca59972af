"""Live traces on one time axis, painted by hand: axes stand still on a picture made once, only the curves run.

Time runs from `SPAN_S` ago to now. A plotting library redraws axes and texts in every frame; for seven traces with
their error bands that alone takes longer than a frame may.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QPoint, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QMouseEvent, QPainter, QPaintEvent, QPen, QPixmap, QResizeEvent
from PySide6.QtWidgets import QWidget

from imufeedback.app import numerals, palette, words
from imufeedback.app.feed import (
    LEAD_KNEE,
    LEAD_ROTATION,
    SIDE_TILT,
    TRAIL_KNEE,
    TRAIL_ROTATION,
    TRAIL_THIGH,
    TURN,
    Snapshot,
)
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.ring import thinned
from imufeedback.app.running import RunningPicture
from imufeedback.app.signs import paint_sign
from imufeedback.app.trace_marks import LINE_STYLES, STATE_SIGNS, StateMark, TimeMark
from imufeedback.phrases import phrase
from imufeedback.records import Bools, Floats, Hand, Phase

SPAN_S = 10.0
BIN_PX = 4.0
"""Two drawn points, the least and the greatest value, for so many pixels; numbers and recording use every sample."""
RANGE_STEP_DEG = 10.0
BAND_ALPHA = 50
FIRST_ROW = 1.35
"""The trail thigh angle is what it is all about: its row is so much higher than another."""
LINE_WIDTH = 2
GRAB_PX = 9
"""So close to its edge the target can be taken with the mouse."""
TARGET_STEP_DEG = 0.5
Span = tuple[Phase, float, float]


@dataclass(frozen=True, slots=True)
class CurveKind:
    """One curve: column of the feed, colour, and the word at its end, at zero and above."""

    column: int
    colour: Callable[[], str]
    """Of the look that is in use."""
    name: str
    below: str = ""
    """The word where the angle is below zero, if it is another one."""

    def named(self, value_deg: float | None) -> str:
        return self.below if self.below and value_deg is not None and round(value_deg) < 0 else self.name


@dataclass(frozen=True, slots=True)
class RowKind:
    """Title, curves and usual range of one row."""

    title: str
    curves: tuple[CurveKind, ...]
    usual_deg: tuple[float, float]
    """Shown at least; wider when the angles are."""


def row_kinds(hand: Hand) -> list[RowKind]:
    """The rows of a player: trail thigh angle, hip rotations, pelvis, knees."""
    side = words.side_word(hand.trail)
    trail, lead = phrase("trail_word"), phrase("lead_word")
    thigh = CurveKind(TRAIL_THIGH, lambda: palette.TRAIL, "")
    rotations = (
        CurveKind(TRAIL_ROTATION, lambda: palette.TRAIL, phrase("leg_in", leg=trail), phrase("leg_out", leg=trail)),
        CurveKind(LEAD_ROTATION, lambda: palette.LEAD, phrase("leg_in", leg=lead), phrase("leg_out", leg=lead)),
    )
    pelvis = (
        CurveKind(TURN, lambda: palette.INK, phrase("open_word"), phrase("turned_word")),
        CurveKind(SIDE_TILT, lambda: palette.TILT, phrase("tilt_word")),
    )
    knees = CurveKind(TRAIL_KNEE, lambda: palette.TRAIL, trail), CurveKind(LEAD_KNEE, lambda: palette.LEAD, lead)
    return [
        RowKind(phrase("thigh_title", side=side), (thigh,), (-30.0, 50.0)),
        RowKind(phrase("rotations_title"), rotations, (-50.0, 50.0)),
        RowKind(phrase("pelvis_title"), pelvis, (-60.0, 90.0)),
        RowKind(phrase("knees_title"), knees, (0.0, 60.0)),
    ]


class TracePlots(QWidget):
    """The traces of a player. `on_painted` is told what each painting cost, in seconds."""

    target_moved = Signal(float)
    """The target was dragged to this angle, degrees."""

    def __init__(self, hand: Hand, on_painted: Callable[[float], None] | None = None) -> None:
        super().__init__()
        self._on_painted = on_painted
        self.rows = [TraceRow(kind) for kind in row_kinds(hand)]
        self.target_deg: float | None = None
        self._dragging = False
        self._scale = 1.0
        self._axes: QPixmap | None = None
        self._running = QRect()
        """What changes with every frame: the numbers beside it do so more slowly."""
        self._curves = RunningPicture()
        self._now_s = 0.0
        """At the right edge: a whole pixel."""
        self._settled_s, self._step_s = -np.inf, 1.0
        self._times: Sequence[TimeMark] = ()
        self._states: Sequence[StateMark] = ()
        self._spans: list[Span] = []
        self.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.setMouseTracking(True)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName(phrase("traces_name"))
        self.rows[3].shown = False
        look.changed.connect(self._place)

    @property
    def shown_rows(self) -> list[TraceRow]:
        return [row for row in self.rows if row.shown]

    # ── data ─────────────────────────────────────────────────────────────────────────────────────────────────────

    def draw(
        self,
        snapshot: Snapshot,
        times: Sequence[TimeMark],
        states: Sequence[StateMark],
        spans: Iterable[Span] = (),
    ) -> None:
        """Take one snapshot; marks outside the span are left out. The knees' row comes with the first knee angle."""
        self._now_s = np.floor(snapshot.now_s * self._px_s + 1e-6) / self._px_s
        step_s = max(SPAN_S * BIN_PX / max(self._plot_width(), 100), 0.02)
        t_s, values = thinned(snapshot.t_s, np.hstack((snapshot.angle_deg, snapshot.sd_deg)), step_s)
        half = values.shape[1] // 2
        bins = np.floor(t_s / step_s + 1e-6)
        begins = np.diff(bins, prepend=-np.inf) > 0
        # the newest bin fills, and the curve to it from the one before moves with it
        self._settled_s = (bins[-1] - 1) * step_s if len(bins) else -np.inf
        self._step_s = step_s
        for row in self.rows:
            columns = [curve.column for curve in row.kind.curves]
            was_empty = row.empty
            widened = row.take(t_s - self._now_s, values[:, columns], values[:, [half + c for c in columns]], begins)
            if not row.shown and not row.empty:
                row.shown = widened = True
                self._place()
            if widened and row.shown:
                self._axes = None
            if row.empty != was_empty:
                self._curves.forget()
        self._times = [mark for mark in times if snapshot.now_s - SPAN_S <= mark.t_s <= snapshot.now_s]
        self._states = [mark for mark in states if snapshot.now_s - SPAN_S <= mark.t_s <= snapshot.now_s]
        self._spans = list(spans)
        self.update(self._running if self._axes is not None else self.rect())

    def show_values(self, values_deg: Sequence[float | None]) -> None:
        """The newest angle of each column as a number; None when it is not known."""
        for row in self.rows:
            shown = [values_deg[curve.column] for curve in row.kind.curves]
            values = [numerals.degrees(value) for value in shown]
            if values != row.values:
                row.values = values
                row.names = [curve.named(value) for curve, value in zip(row.kind.curves, shown, strict=True)]
                self.update()

    def show_empty(self, text: str) -> None:
        """Text in every row that has no finite value to draw."""
        for row in self.rows:
            row.nothing = text if row.empty else ""

    def show_target(self, target_deg: float | None) -> None:
        """The angle below which nothing is a stall any more; None shows no target."""
        self.target_deg = target_deg
        self.update()

    # ── places ───────────────────────────────────────────────────────────────────────────────────────────────────

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        self._scale = scale
        self._place()

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self._place()

    def _plot_width(self) -> float:
        return self.width() - (44 + 74) * self._scale

    def _place(self) -> None:
        scale, rows = self._scale, self.shown_rows
        head, foot = 19 * scale, 20 * scale
        unit = (self.height() - foot) / (len(rows) + FIRST_ROW - 1)
        top = 0.0
        for number, row in enumerate(rows):
            high = unit * (FIRST_ROW if number == 0 else 1.0)
            size = QSize(round(max(self._plot_width(), 50)), round(max(high - head - 4, 10)))
            row.area = QRectF(QRect(QPoint(round(44 * scale), round(top + head)), size))
            top += high
        self._running = rows[0].area.united(rows[-1].area).toAlignedRect()
        self._axes = None
        self.update()

    # ── painting ─────────────────────────────────────────────────────────────────────────────────────────────────

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        began = time.perf_counter()
        ratio = self.devicePixelRatioF()
        if self._axes is None or self._axes.devicePixelRatio() != ratio:
            self._axes = self._paint_axes()
            self._curves.forget()
        curves = self._run(int(ratio)) if ratio.is_integer() else None
        painter = QPainter(self)
        painter.drawPixmap(0, 0, self._axes)
        painter.setFont(pixel_font(12 * self._scale))
        for number, row in enumerate(self.shown_rows):
            painter.save()
            painter.setClipRect(row.area)
            self._paint_spans(painter, row, named=number == 0)
            if number == 0 and self.target_deg is not None:
                self._paint_target(painter, row, self.target_deg)
            self._paint_zero(painter, row)
            if curves is None:
                row.paint_curves(painter)
            else:
                place = QRectF(row.area.topLeft() * ratio, row.area.size() * ratio)
                painter.drawPixmap(row.area, curves, place)
            row.paint_nothing(painter, self._scale)
            self._paint_times(painter, row, named=number == 0)
            if number == 0:
                self._paint_states(painter, row)
            painter.restore()
            if event.rect().right() > self._running.right():
                row.paint_values(painter, self._scale)
        painter.end()
        if self._on_painted is not None:
            self._on_painted(time.perf_counter() - began)

    @property
    def _px_s(self) -> float:
        """Pixels of the screen for a second."""
        return self.rows[0].area.width() * self.devicePixelRatioF() / SPAN_S

    def _run(self, ratio: int) -> QPixmap:
        """The curves alone, as they stand now. Only where the screen's pixels part the window's evenly."""

        def paint(painter: QPainter, room: QRect) -> None:
            for row in self.shown_rows:
                if row.area.intersects(room):
                    row.paint_curves(painter, (room.left() - row.x(0.0)) / row.area.width() * SPAN_S - 2 * self._step_s)

        now = round(self._now_s * self._px_s)
        settled = now if np.isinf(self._settled_s) else int(np.floor(self._settled_s * self._px_s))
        rooms = [row.area.toRect() for row in self.shown_rows]
        return self._curves.at(now, settled, rooms, self.size(), ratio, paint)

    def _paint_axes(self) -> QPixmap:
        ratio = self.devicePixelRatioF()
        picture = QPixmap(round(self.width() * ratio), round(self.height() * ratio))
        picture.setDevicePixelRatio(ratio)
        picture.fill(QColor(palette.PAPER))
        painter = QPainter(picture)
        for row in self.shown_rows:
            row.paint_axis(painter, self._scale)
        last = self.shown_rows[-1]
        painter.setPen(QColor(palette.SOFT_INK))
        painter.setFont(pixel_font(12 * self._scale))
        for ago_s in range(0, int(SPAN_S) + 1, 2):
            room = QRectF(last.x(-ago_s) - 40, last.area.bottom() + 2, 80, 17 * self._scale)
            painter.drawText(room, Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignTop, words.ago(ago_s))
        painter.end()
        return picture

    def _paint_spans(self, painter: QPainter, row: TraceRow, *, named: bool) -> None:
        for phase, start_s, end_s in self._spans:
            left, right = row.x(max(start_s - self._now_s, -SPAN_S)), row.x(end_s - self._now_s)
            painter.fillRect(
                QRectF(left, row.area.top(), right - left, row.area.height()), QColor(palette.PHASES[phase])
            )
            word = words.phase_short(phase)
            if named and painter.fontMetrics().horizontalAdvance(word) + 6 < right - left:
                painter.setPen(QColor(palette.SOFT_INK))
                painter.drawText(QPointF(left + 4, row.area.top() + painter.fontMetrics().ascent() + 1), word)

    def _paint_target(self, painter: QPainter, row: TraceRow, target_deg: float) -> None:
        edge = row.y(target_deg)
        fill = QColor(palette.BLUISH_GREEN)
        fill.setAlpha(38)
        painter.fillRect(QRectF(row.area.left(), edge, row.area.width(), row.area.bottom() - edge), fill)
        painter.setPen(QPen(QColor(palette.GOOD_INK), 2 if self._dragging else 1, Qt.PenStyle.DashDotLine))
        painter.drawLine(QPointF(row.area.left(), edge), QPointF(row.area.right(), edge))
        painter.setPen(QColor(palette.GOOD_INK))
        text = words.target(numerals.signed(target_deg, 1))
        painter.drawText(QPointF(row.area.left() + 6, edge + painter.fontMetrics().ascent() + 1), text)

    def _paint_zero(self, painter: QPainter, row: TraceRow) -> None:
        painter.setPen(QColor(palette.RULE_LINE))
        zero = row.y(0.0)
        painter.drawLine(QPointF(row.area.left(), zero), QPointF(row.area.right(), zero))

    def _paint_times(self, painter: QPainter, row: TraceRow, *, named: bool) -> None:
        for mark in self._times:
            at = row.x(mark.t_s - self._now_s)
            painter.setPen(QPen(QColor(palette.SOFT_INK), 1, LINE_STYLES[mark.name]))
            painter.drawLine(QPointF(at, row.area.top()), QPointF(at, row.area.bottom()))
            if named and mark.name == "impact_s":
                room = QRectF(at - 60, row.area.bottom() - 18 * self._scale, 120, 17 * self._scale)
                painter.drawText(
                    room,
                    Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignBottom,
                    phrase("rep_name", number=mark.number),
                )

    def _paint_states(self, painter: QPainter, row: TraceRow) -> None:
        side = 12 * self._scale
        for mark in self._states:
            x, y = row.x(mark.t_s - self._now_s), row.y(mark.angle_deg)
            box = QRectF(x - side / 2, y - side / 2, side, side)
            paint_sign(painter, STATE_SIGNS[mark.state], box.adjusted(-1.5, -1.5, 1.5, 1.5), palette.INK)
            paint_sign(painter, STATE_SIGNS[mark.state], box, palette.STATE_COLOURS[mark.state])
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    # ── the target under the mouse ───────────────────────────────────────────────────────────────────────────────

    def _near_target(self, at: QPointF) -> bool:
        row = self.rows[0]
        return self.target_deg is not None and row.area.contains(at) and abs(row.y(self.target_deg) - at.y()) <= GRAB_PX

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        self._dragging = event.button() is Qt.MouseButton.LeftButton and self._near_target(event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        if self._dragging:
            row = self.rows[0]
            low, high = row.range_deg
            value = min(max(row.degrees_at(event.position().y()), low), high)
            self.show_target(round(value / TARGET_STEP_DEG) * TARGET_STEP_DEG)
        elif self._near_target(event.position()):
            self.setCursor(Qt.CursorShape.SplitVCursor)
        else:
            self.unsetCursor()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        if self._dragging and self.target_deg is not None:
            self._dragging = False
            self.target_moved.emit(self.target_deg)
            self.update()


class TraceRow:
    """One row: its data, its range, and where it is painted."""

    def __init__(self, kind: RowKind) -> None:
        self.kind = kind
        self.shown = True
        self.area = QRectF(0, 0, 100, 100)
        self.range_deg = kind.usual_deg
        self.ago_s: Floats = np.zeros(0)
        self.angle_deg: Floats = np.zeros((0, len(kind.curves)))
        self.sd_deg: Floats = self.angle_deg
        self.begins: Bools = np.zeros(0, np.bool_)
        self.empty = True
        self.values = [numerals.UNKNOWN] * len(kind.curves)
        self.names = [curve.name for curve in kind.curves]
        self.nothing = ""

    def take(self, ago_s: Floats, angle_deg: Floats, sd_deg: Floats, begins: Bools) -> bool:
        """New data ``(N,)``, ``(N, curves)``, and which of them begin a bin; true when the range became another one."""
        self.ago_s, self.angle_deg, self.sd_deg, self.begins = ago_s, angle_deg, sd_deg, begins
        known = angle_deg[np.isfinite(angle_deg)]
        self.empty = not len(known)
        before = self.range_deg
        if len(known):
            self.range_deg = wanted_range(float(known.min()), float(known.max()), self.kind.usual_deg)
        return self.range_deg != before

    def x(self, ago_s: float) -> float:
        return self.area.left() + (1 + ago_s / SPAN_S) * self.area.width()

    def y(self, angle_deg: float) -> float:
        low, high = self.range_deg
        return self.area.bottom() - (angle_deg - low) / (high - low) * self.area.height()

    def degrees_at(self, y: float) -> float:
        low, high = self.range_deg
        return low + (self.area.bottom() - y) / self.area.height() * (high - low)

    def paint_axis(self, painter: QPainter, scale: float) -> None:
        low, high = self.range_deg
        painter.setFont(pixel_font(12 * scale))
        painter.setPen(QColor(palette.RULE_LINE))
        painter.drawLine(self.area.topLeft(), self.area.bottomLeft())
        painter.drawLine(self.area.bottomLeft(), self.area.bottomRight())
        painter.setPen(QColor(palette.SOFT_INK))
        few = max(2, int(self.area.height() / (26 * scale)))
        for at in tick_places(low, high, few):
            room = QRectF(0, self.y(at) - 10 * scale, self.area.left() - 5, 20 * scale)
            painter.drawText(room, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, numerals.signed(at, 0))
        painter.setPen(QColor(palette.INK if len(self.kind.curves) > 1 else self.kind.curves[0].colour()))
        painter.setFont(pixel_font(13 * scale, bold=True))
        painter.drawText(QPointF(self.area.left(), self.area.top() - 5 * scale), self.kind.title)

    def paint_curves(self, painter: QPainter, from_s: float = -np.inf) -> None:
        """What lies after so long ago."""
        if self.empty:
            return
        kept = slice(int(np.searchsorted(self.ago_s, from_s)), None)
        x = self.x(0.0) + self.ago_s[kept] / SPAN_S * self.area.width()
        low, high = self.range_deg
        per_deg = self.area.height() / (high - low)
        y = self.area.bottom() - (self.angle_deg[kept] - low) * per_deg
        half, begins = self.sd_deg[kept] * per_deg, self.begins[kept]
        for column, curve in enumerate(self.kind.curves):
            colour = QColor(curve.colour())
            pen = QPen(colour, LINE_WIDTH)
            fill = QColor(curve.colour())
            fill.setAlpha(BAND_ALPHA)
            for first, last in finite_runs(np.isfinite(y[:, column])):
                run = slice(first, last)
                self._paint_band(painter, x[run], y[run, column], half[run, column], begins[run], fill)
                painter.setPen(pen)
                painter.drawPolyline(pg.functions.arrayToQPolygonF(x[run], y[run, column]))

    def _paint_band(self, painter: QPainter, x: Floats, y: Floats, half: Floats, begins: Bools, fill: QColor) -> None:
        if len(x) < 2 or not np.isfinite(half).all():
            return
        pick = np.append(np.flatnonzero(begins[:-1]), len(x) - 1)  # one of a bin is enough for a band
        x, y, half = x[pick], y[pick], half[pick]
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(fill)
        outline = np.concatenate((x, x[::-1])), np.concatenate((y - half, (y + half)[::-1]))
        painter.drawPolygon(pg.functions.arrayToQPolygonF(*outline))

    def paint_nothing(self, painter: QPainter, scale: float) -> None:
        """Why there is no curve."""
        if self.nothing:
            painter.setPen(QColor(palette.SOFT_INK))
            painter.setFont(pixel_font(15 * scale))
            painter.drawText(self.area, Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap, self.nothing)

    def paint_values(self, painter: QPainter, scale: float) -> None:
        """Newest angles at the right, below each other, each with the word that tells the curves apart."""
        top, left = self.area.top(), self.area.right() + 7 * scale
        for curve, name, value in zip(self.kind.curves, self.names, self.values, strict=True):
            painter.setPen(QColor(curve.colour()))
            if name:
                painter.setFont(pixel_font(11 * scale))
                painter.drawText(QPointF(left, top + 9 * scale), name)
                top += 10 * scale
            painter.setFont(pixel_font(18 * scale, bold=True))
            painter.drawText(QPointF(left, top + 16 * scale), value)
            top += 22 * scale


def tick_places(low: float, high: float, most: int = 6) -> list[float]:
    """At most `most` + 1 multiples of a round step."""
    steps = (20.0, 30.0, 50.0, 60.0, 90.0, 180.0, 360.0)
    step = next((step for step in steps if (high - low) / step <= most), steps[-1])
    return [float(at) for at in np.arange(np.ceil(low / step) * step, high + 1e-9, step)]


def finite_runs(known: Bools) -> list[tuple[int, int]]:
    """Half-open index ranges of the stretches in which `known` ``(N,)`` holds."""
    if known.all():
        return [(0, len(known))] if len(known) else []
    edges = np.flatnonzero(np.diff(np.r_[False, known, False].astype(np.int8)))
    return [(int(first), int(last)) for first, last in edges.reshape(-1, 2)]


def wanted_range(low_deg: float, high_deg: float, usual_deg: tuple[float, float]) -> tuple[float, float]:
    """The usual range, widened in whole steps until it holds the values with a little room."""
    step = RANGE_STEP_DEG
    low = min(usual_deg[0], float(np.floor((low_deg - 2.0) / step)) * step)
    return low, max(usual_deg[1], float(np.ceil((high_deg + 2.0) / step)) * step)
