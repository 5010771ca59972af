"""The reps of the session, newest first: the trail thigh angle at the positions, and what was found.

A rep takes two rows of the table: numbers, and below them the findings over the whole width (hidden when there are
none).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from PySide6.QtCore import QRect, Qt
from PySide6.QtGui import QBrush, QColor
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from imufeedback.app import numerals, palette, words
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.phrases import phrase
from imufeedback.records import Finding, Lack, Rep, Unjudged, Verdict
from imufeedback.report import story

ANGLE_FEATURES = (
    "trail_thigh_angle_top_deg",
    "trail_thigh_angle_impact_deg",
    "trail_thigh_angle_finish_deg",
    "trail_thigh_angle_min_deg",
)
"""Features of a rep in columns 2 to 5."""
RESULT = 2 + len(ANGLE_FEATURES)
"""Column of the result in a word."""
DETAIL = 1
"""Column in which the findings begin, one row below."""

REPS_KEPT = 200
"""Older reps leave the table (not the recording), so that a long session stays quick."""

TIME, WIDEST, LATEST = 1, "−99.9°", "59:59.9"
"""The column of times; the widest text in a column of numbers, and in that one."""
PADDING = 5
"""Pixels around the text of a cell."""

Meaning = Callable[[str], str | None]
"""Takes the text of a finding to other words (another language), or None to leave it."""


class RepTable(QTableWidget):
    """Findings may come before or after their rep. `meaning` may put the rules' texts into other words."""

    def __init__(self, meaning: Meaning = lambda key: None) -> None:
        super().__init__(0, RESULT + 1)
        self._meaning = meaning
        self._findings: dict[int, list[Finding]] = {}
        self._unjudged: dict[int, list[Unjudged]] = {}
        self._first: dict[tuple[Lack, str, str], int] = {}
        """Rep on which a rule could not be judged for the first time, for one reason: said in full there only."""
        self._flags: dict[int, str] = {}
        self._void: dict[int, str] = {}
        self._order: list[int] = []
        self._dress()
        look.changed.connect(self._restyle)

    def _dress(self) -> None:
        self.setAccessibleName(phrase("table_title"))
        self.setHorizontalHeaderLabels(words.table_heads())
        self.verticalHeader().setVisible(False)
        self.verticalHeader().setMinimumSectionSize(1)
        self.setShowGrid(False)
        self.setWordWrap(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        head = self.horizontalHeader()
        head.setHighlightSections(False)
        head.setMinimumSectionSize(20)
        head.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        head.setSectionResizeMode(RESULT, QHeaderView.ResizeMode.Stretch)
        head.sectionResized.connect(self._refit)
        for column in range(self.columnCount()):
            item = self.horizontalHeaderItem(column)
            if item is not None:
                item.setTextAlignment(_sideways(column) | Qt.AlignmentFlag.AlignVCenter)

    @property
    def reps(self) -> int:
        """Reps in the table."""
        return len(self._order)

    def add_rep(self, rep: Rep) -> None:
        """Show a rep on top; a rep that is told again replaces its numbers."""
        if rep.index not in self._order:
            self._order.insert(0, rep.index)
            self.insertRow(0)
            self.insertRow(0)
            self.setSpan(1, DETAIL, 1, self.columnCount() - DETAIL)
        row = self._row(rep.index)
        self._void.pop(rep.index, None)
        if rep.void:
            self._void[rep.index] = rep.void
        ink = "SOFT_INK" if rep.void else "INK"
        self._put(row, 0, str(rep.index + 1), ink, struck=bool(rep.void))
        self._put(row, 1, numerals.clock_time(rep.start_s), ink, struck=bool(rep.void))
        for column, name in enumerate(ANGLE_FEATURES, start=2):
            self._put(row, column, numerals.degrees(rep.features.get(name, math.nan)), ink)
        self._show_findings(rep.index)
        self._forget_old()

    def add_finding(self, finding: Finding) -> None:
        """Add a finding to its rep."""
        self._findings.setdefault(finding.rep, []).append(finding)
        if finding.rep in self._order:
            self._show_findings(finding.rep)

    def add_unjudged(self, one: Unjudged) -> None:
        """Add a rule that could not be judged to its rep."""
        self._unjudged.setdefault(one.rep, []).append(one)
        self._first.setdefault((one.lack, one.text, one.rule), one.rep)
        if one.rep in self._order:
            self._show_findings(one.rep)

    def show_flags(self, index: int, flags: str) -> None:
        """What a person said about a rep, above its findings."""
        self._flags[index] = flags
        if index in self._order:
            self._show_findings(index)

    def _row(self, index: int) -> int:
        return 2 * self._order.index(index)

    def _show_findings(self, index: int) -> None:
        found, row, void = self._findings.get(index, []), self._row(index), self._void.get(index)
        still_open = self._unjudged.get(index, [])
        ink = "ALARM_INK" if _faults(found) else "SOFT_INK" if void else "INK"
        result = (
            phrase("void_result")
            if void
            else words.result(_faults(found), len(found) - _faults(found), len(still_open))
        )
        self._put(row, RESULT, result, ink)
        flags = [self._flags[index]] if self._flags.get(index) else []
        lines = flags + ([void] if void else []) + [words.finding_words(one, self._meaning(one.text)) for one in found]
        new = [one for one in still_open if self._first[one.lack, one.text, one.rule] == index]
        lines += [words.unjudged(*one) for one in story.unjudged(new)]
        self._put(row + 1, 0, "")
        self._put(row + 1, DETAIL, "\n".join(lines), ink)
        self.setRowHidden(row + 1, not lines)
        self._fit(row)

    def _put(self, row: int, column: int, text: str, ink: str = "INK", *, struck: bool = False) -> None:
        """`ink` is a name in the palette."""
        item = QTableWidgetItem(text)
        if struck:
            font = self.font()
            font.setStrikeOut(True)
            item.setFont(font)
        sideways = Qt.AlignmentFlag.AlignLeft if row % 2 else _sideways(column)
        item.setTextAlignment(sideways | Qt.AlignmentFlag.AlignTop)
        item.setData(Qt.ItemDataRole.UserRole, ink)
        item.setForeground(QBrush(QColor(getattr(palette, ink))))
        self.setItem(row, column, item)

    def _restyle(self) -> None:
        for row in range(self.rowCount()):
            for column in range(self.columnCount()):
                item = self.item(row, column)
                if item is not None:
                    item.setForeground(QBrush(QColor(getattr(palette, item.data(Qt.ItemDataRole.UserRole)))))

    def _forget_old(self) -> None:
        while len(self._order) > REPS_KEPT:
            oldest = self._order.pop()
            self._findings.pop(oldest, None)
            self._unjudged.pop(oldest, None)
            self._flags.pop(oldest, None)
            self._void.pop(oldest, None)
            for _ in range(2):
                self.removeRow(self.rowCount() - 1)

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        font = pixel_font(14 * scale)
        self.setFont(font)
        # A style sheet on the window makes the header deaf to setFont.
        self.setStyleSheet(f"QHeaderView::section {{ font-size: {font.pixelSize()}px; }}")
        # not by their contents: the findings, which begin in one of them, go over all the others
        for column, name in enumerate(words.table_heads()[:RESULT]):
            texts = name, LATEST if column == TIME else WIDEST
            widest = max(map(self.fontMetrics().horizontalAdvance, texts))
            self.setColumnWidth(column, widest + 2 * PADDING + 4)
        self._refit()

    def _refit(self) -> None:
        for row in range(0, self.rowCount(), 2):
            self._fit(row)

    def _fit(self, row: int) -> None:
        """Row heights of one rep. Qt's own measure forgets the padding and the span, and cuts the last line."""
        metrics = self.fontMetrics()
        self.setRowHeight(row, metrics.height() + 2 * PADDING)
        detail = self.item(row + 1, DETAIL)
        if detail is not None and detail.text():
            width = sum(self.columnWidth(column) for column in range(DETAIL, self.columnCount())) - 2 * PADDING - 8
            area = QRect(0, 0, max(width, 40), 10_000)
            needed = metrics.boundingRect(area, Qt.TextFlag.TextWordWrap, detail.text()).height()
            self.setRowHeight(row + 1, needed + 2 * PADDING)


def _faults(found: Sequence[Finding]) -> int:
    return sum(one.verdict is Verdict.FAULT for one in found)


def _sideways(column: int) -> Qt.AlignmentFlag:
    """Numbers to the right, so that their digits stand below each other."""
    return Qt.AlignmentFlag.AlignLeft if column == RESULT else Qt.AlignmentFlag.AlignRight
