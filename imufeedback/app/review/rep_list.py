"""The reps of a session as a table: sort by any column, filter by words, choose some to lay over each other."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QFont
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import numerals, palette
from imufeedback.app.labels import pixel_font
from imufeedback.app.review.model import COLUMNS, found
from imufeedback.document import JudgedRep
from imufeedback.phrases import phrase
from imufeedback.records import Verdict


class _Number(QTableWidgetItem):
    """Sorts by its value, not by its text; what is not known comes last."""

    def __init__(self, value: float | None, text: str) -> None:
        super().__init__(text)
        self.value = float("inf") if value is None else value
        self.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)

    def __lt__(self, other: QTableWidgetItem) -> bool:
        return self.value < other.value if isinstance(other, _Number) else super().__lt__(other)


class RepList(QWidget):
    """Table and filter. `chosen` is emitted when the selection changes."""

    chosen = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.reps: list[JudgedRep] = []
        self.filter = QLineEdit()
        self.filter.setPlaceholderText(phrase("review.filter_a_word_of_a"))
        self.filter.setClearButtonEnabled(True)
        self.filter.setAccessibleName(phrase("review.filter"))
        self.filter.textChanged.connect(self._apply_filter)
        heads = [
            phrase("review.rep"),
            phrase("review.at"),
            *(name for name, _ in COLUMNS),
            phrase("review.tones"),
            phrase("review.result"),
        ]
        self.table = QTableWidget(0, len(heads))
        self.table.setAccessibleName(phrase("review.reps"))
        self.table.setHorizontalHeaderLabels(heads)
        self.table.verticalHeader().setVisible(False)
        self.table.setShowGrid(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.table.setFont(pixel_font(13))
        head = self.table.horizontalHeader()
        head.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        head.setStretchLastSection(True)
        head.setHighlightSections(False)
        self.table.itemSelectionChanged.connect(self.chosen)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.filter)
        column.addWidget(self.table)

    def show_reps(self, reps: Sequence[JudgedRep]) -> None:
        """Show these; the last one that counts is chosen."""
        self.reps = list(reps)
        self.table.blockSignals(True)
        self.table.setSortingEnabled(False)
        self.table.setRowCount(len(self.reps))
        for row, rep in enumerate(self.reps):
            self._fill(row, rep)
        self.table.setSortingEnabled(True)
        self.table.sortByColumn(0, Qt.SortOrder.AscendingOrder)
        self.table.blockSignals(False)
        self._apply_filter()
        self.table.clearSelection()
        if self.reps:
            rows = [row for row, rep in enumerate(self.reps) if not rep.void]
            self.table.selectRow(rows[-1] if rows else len(self.reps) - 1)

    def _fill(self, row: int, rep: JudgedRep) -> None:
        first = _Number(rep.index, str(rep.index + 1))
        first.setData(Qt.ItemDataRole.UserRole, rep.index)
        items: list[QTableWidgetItem] = [first, _Number(rep.start_s, numerals.clock_time(rep.start_s))]
        for _, feature in COLUMNS:
            value = rep.features.get(feature)
            items.append(_Number(value, numerals.UNKNOWN if value is None else numerals.signed(value, 1)))
        tones = (
            numerals.UNKNOWN if rep.tones is None else phrase("review.tones") if rep.tones else phrase("review.silent")
        )
        items.append(QTableWidgetItem(tones))
        items.append(QTableWidgetItem(found(rep)))
        items[-1].setToolTip(items[-1].text())  # longer than most columns are wide
        if rep.void:
            struck = QFont(self.table.font())
            struck.setStrikeOut(True)
            first.setFont(struck)
        for column, item in enumerate(items):
            self.table.setItem(row, column, item)
        self._colour(row, rep)

    def _colour(self, row: int, rep: JudgedRep) -> None:
        columns = self.table.columnCount()
        for column in range(columns):
            ink = palette.SOFT_INK if rep.void else palette.INK
            if column == columns - 1 and rep.found(Verdict.FAULT) and not rep.void:
                ink = palette.ALARM_INK
            item = self.table.item(row, column)
            if item is not None:
                item.setForeground(QColor(ink))

    def restyle(self) -> None:
        """Colours of the look that is in use."""
        by_index = {rep.index: rep for rep in self.reps}
        for row in range(self.table.rowCount()):
            self._colour(row, by_index[self._index(row)])

    def _apply_filter(self) -> None:
        words = self.filter.text().casefold().split()
        for row in range(self.table.rowCount()):
            self.table.setRowHidden(row, not all(self._has(row, word) for word in words))

    def _has(self, row: int, word: str) -> bool:
        if word.isdecimal():
            return self._text(row, 0) == word
        return any(word in self._text(row, column).casefold() for column in (-2, -1))

    def _text(self, row: int, column: int) -> str:
        item = self.table.item(row, column % self.table.columnCount())
        return "" if item is None else item.text()

    def selected(self) -> list[JudgedRep]:
        """The chosen reps that the filter leaves, in their order of time."""
        rows = {index.row() for index in self.table.selectionModel().selectedRows()}
        chosen = {self._index(row) for row in rows if not self.table.isRowHidden(row)}
        return [rep for rep in self.reps if rep.index in chosen]

    def _index(self, row: int) -> int:
        item = self.table.item(row, 0)
        assert item is not None  # every row has its number
        index: int = item.data(Qt.ItemDataRole.UserRole)
        return index

    def select_all(self) -> None:
        self.table.selectAll()
