"""The film under the rep's time: how loud it is and where impact lies. Drawn with the mouse, it is lined up."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from PySide6.QtCore import QPointF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.review.strikes import STEP_S
from imufeedback.phrases import phrase
from imufeedback.records import Floats

KEY_S = 0.02
"""By an arrow key: less than a picture of most films."""
HEIGHT, TEXT = 54, 13


class FilmStrip(QWidget):
    """`dragged` tells by how many seconds the film shall begin later; `dropped` that the mouse has let it go."""

    dragged = Signal(float)
    dropped = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._levels_db: Floats | None = None
        self._quiet_db, self._loud_db = 0.0, 1.0
        """The film's usual and its greatest loudness: floor and top of the strip."""
        self._offset_s: float | None = None
        self._begin_s, self._end_s = 0.0, 1.0
        self._impact_s: float | None = None
        self._held: float | None = None
        """Where the mouse was last."""
        self.setFixedHeight(HEIGHT)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setCursor(Qt.CursorShape.SizeHorCursor)
        self.setAccessibleName(phrase("film_strip"))
        self.setToolTip(phrase("film_strip"))

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(200, HEIGHT)

    def show_stretch(self, begin_s: float, end_s: float, impact_s: float | None) -> None:
        """What the width stands for, session time."""
        self._begin_s, self._end_s, self._impact_s = begin_s, max(end_s, begin_s + 0.1), impact_s
        self.update()

    def show_offset(self, offset_s: float | None) -> None:
        """Session time at which the film begins; None without a film."""
        self._offset_s = offset_s
        self.setEnabled(offset_s is not None)
        self.update()

    def show_sound(self, levels_db: Floats | None) -> None:
        """(N,) loudness of each `STEP_S` of the film; None where it is not known."""
        self._levels_db = levels_db
        if levels_db is not None and len(levels_db):
            self._quiet_db, self._loud_db = float(np.median(levels_db)), float(levels_db.max())
        self.update()

    def columns(self) -> Floats:
        """(width,) how loud the film is at each column, 0 to 1; NaN where it is not known."""
        out = np.full(self.width(), np.nan)
        if self._levels_db is None or self._offset_s is None:
            return out
        edges_s = np.linspace(self._begin_s, self._end_s, self.width() + 1) - self._offset_s
        edges = np.round(edges_s / STEP_S).astype(int)
        for column, (first, last) in enumerate(pairwise(edges)):
            part = self._levels_db[max(first, 0) : max(last, first + 1, 0)]
            if len(part):
                out[column] = max(float(part.max()) - self._quiet_db, 0.0) / max(self._loud_db - self._quiet_db, 1.0)
        return out

    @property
    def held(self) -> bool:
        """The mouse holds it: where it will lie is not known yet."""
        return self._held is not None

    # ── by hand ──────────────────────────────────────────────────────────────────────────────────────────────────

    def mousePressEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        self._held = event.position().x()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        if self._held is not None:
            x = event.position().x()
            by_s = (x - self._held) / self.width() * (self._end_s - self._begin_s)
            self._held = x
            self.dragged.emit(by_s)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:  # noqa: N802 – Qt names it
        self._held = None
        self.dropped.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 – Qt names it
        steps = {int(Qt.Key.Key_Left): -KEY_S, int(Qt.Key.Key_Right): KEY_S}
        if event.key() in steps:
            self.dragged.emit(steps[event.key()])
        else:
            super().keyPressEvent(event)

    # ── picture ──────────────────────────────────────────────────────────────────────────────────────────────────

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(palette.PAPER))
        height = self.height()
        loud = self.columns()
        known = np.flatnonzero(np.isfinite(loud))
        if len(known):
            top = [QPointF(float(x), height * (1.0 - float(loud[x]))) for x in known]
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(palette.SKY_BLUE))
            ends = [QPointF(float(known[-1]), height), QPointF(float(known[0]), height)]
            painter.drawPolygon(QPolygonF([*top, *ends]))
        if self._impact_s is not None:
            x = (self._impact_s - self._begin_s) / (self._end_s - self._begin_s) * self.width()
            painter.setPen(QPen(QColor(palette.ALARM_INK), 2, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(x, 0), QPointF(x, height))
            painter.setFont(pixel_font(TEXT))
            painter.drawText(QPointF(x + 4, TEXT), phrase("film_strip_impact"))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(
            QPen(QColor(palette.BLUE if self.hasFocus() else palette.RULE_LINE), 2 if self.hasFocus() else 1)
        )
        painter.drawRect(self.rect().adjusted(0, 0, -1, -1))
        painter.end()
