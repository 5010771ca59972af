"""The reps of the session, newest first: the trail thigh angle at the marks, and what was found."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QBrush, QColor
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from imufeedback.app import numerals, palette, words
from imufeedback.app.labels import pixel_font
from imufeedback.records import Finding, Rep, Verdict

ANGLE_FEATURES = (
    "trail_thigh_angle_top_deg",
    "trail_thigh_angle_impact_deg",
    "trail_thigh_angle_finish_deg",
    "trail_thigh_angle_min_deg",
)
"""Features of a rep in columns 2 to 5."""
FINDINGS_COLUMN = 2 + len(ANGLE_FEATURES)

ROWS_KEPT = 200
"""Older reps leave the table (not the recording), so that a long session stays quick."""

PADDING = 5
"""Pixels around the text of a cell."""

Meaning = Callable[[str], str | None]
"""Takes the text of a finding to other words (another language), or None to leave it."""


class RepTable(QTableWidget):
    """A row a rep. Findings may come before or after their rep. `meaning` may put the rules' texts into other words."""

    def __init__(self, meaning: Meaning = lambda key: None) -> None:
        super().__init__(0, FINDINGS_COLUMN + 1)
        self._meaning = meaning
        self._findings: dict[int, list[Finding]] = {}
        self._order: list[int] = []
        self._dress()

    def _dress(self) -> None:
        self.setHorizontalHeaderLabels(words.table_heads())
        self.verticalHeader().setVisible(False)
        self.setShowGrid(False)
        self.setWordWrap(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.setAlternatingRowColors(True)
        for column in range(self.columnCount()):
            item = self.horizontalHeaderItem(column)
            if item is not None:
                item.setTextAlignment(_sideways(column) | Qt.AlignmentFlag.AlignVCenter)
        head = self.horizontalHeader()
        head.setHighlightSections(False)
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setSectionResizeMode(FINDINGS_COLUMN, QHeaderView.ResizeMode.Stretch)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        head.sectionResized.connect(self._refit)

    @property
    def reps(self) -> int:
        """Rows in the table."""
        return self.rowCount()

    def add_rep(self, rep: Rep) -> None:
        """Show a rep on top; a rep that is told again replaces its row."""
        if rep.index not in self._order:
            self.insertRow(0)
            self._order.insert(0, rep.index)
        row = self._order.index(rep.index)
        self._put(row, 0, str(rep.index + 1))
        self._put(row, 1, numerals.clock_time(rep.start_s))
        for column, name in enumerate(ANGLE_FEATURES, start=2):
            self._put(row, column, numerals.degrees(rep.features.get(name, math.nan)))
        self._show_findings(rep.index)
        self._forget_old()

    def add_finding(self, finding: Finding) -> None:
        """Add a finding to its rep."""
        self._findings.setdefault(finding.rep, []).append(finding)
        if finding.rep in self._order:
            self._show_findings(finding.rep)

    def _show_findings(self, index: int) -> None:
        found = self._findings.get(index, [])
        lines = [words.finding_words(one, self._meaning(one.text)) for one in found]
        faulty = any(one.verdict is Verdict.FAULT for one in found)
        item = self._put(self._order.index(index), FINDINGS_COLUMN, "\n".join(lines) or words.no_findings())
        item.setForeground(QBrush(QColor(palette.ALARM_INK if faulty else palette.INK)))
        item.setToolTip("\n".join(lines))
        self._fit_row(self._order.index(index))

    def _put(self, row: int, column: int, text: str) -> QTableWidgetItem:
        item = QTableWidgetItem(text)
        item.setTextAlignment(_sideways(column) | Qt.AlignmentFlag.AlignTop)
        self.setItem(row, column, item)
        return item

    def _forget_old(self) -> None:
        while len(self._order) > ROWS_KEPT:
            self._findings.pop(self._order.pop(), None)
            self.removeRow(self.rowCount() - 1)

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        font = pixel_font(13 * scale)
        self.setFont(font)
        # A style sheet on the window makes the header deaf to setFont.
        self.setStyleSheet(f"QHeaderView::section {{ font-size: {font.pixelSize()}px; }}")
        self._refit()

    def _refit(self) -> None:
        for row in range(self.rowCount()):
            self._fit_row(row)

    def _fit_row(self, row: int) -> None:
        """As high as the findings need. Qt's own measure forgets the padding and cuts the last line."""
        item = self.item(row, FINDINGS_COLUMN)
        width = max(self.columnWidth(FINDINGS_COLUMN) - 2 * PADDING - 8, 40)
        area = QRect(0, 0, width, 10_000)
        needed = self.fontMetrics().boundingRect(area, Qt.TextFlag.TextWordWrap, item.text() if item else "")
        self.setRowHeight(row, max(needed.height(), self.fontMetrics().height()) + 2 * PADDING)


def _sideways(column: int) -> Qt.AlignmentFlag:
    """Numbers to the right, so that their digits stand below each other."""
    return Qt.AlignmentFlag.AlignLeft if column == FINDINGS_COLUMN else Qt.AlignmentFlag.AlignRight
