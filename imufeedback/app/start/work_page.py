"""What to train: a list of rule sets, drills and plans, with how the marked one is done."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from imufeedback.app.labels import pixel_font
from imufeedback.app.practice_choices import Work, WorkKind, Works
from imufeedback.app.scrolling import fold
from imufeedback.app.start import texts
from imufeedback.app.start.readiness import StartStep
from imufeedback.phrases import phrase

_KIND_WORDS = {WorkKind.RULES: texts.rules_word, WorkKind.DRILL: texts.drill_word, WorkKind.PLAN: texts.plan_word}


class WorkPage(QWidget):
    """The marked line is the choice."""

    chosen = Signal(object)
    """A `Work`."""

    def __init__(self, works: Works) -> None:
        super().__init__()
        self.works = works
        self.hint = QLabel(phrase("start.work_hint"))
        self.hint.setWordWrap(True)
        self.list = QListWidget()
        self.list.setAccessibleName(texts.title(StartStep.WORK))
        self.title = QLabel()
        self.lines = QLabel()
        self.lines.setWordWrap(True)
        self.lines.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.trouble = QLabel("\n".join(works.troubles))
        self.trouble.setObjectName("trouble")
        self.trouble.setWordWrap(True)
        self.trouble.setVisible(bool(works.troubles))
        self._arrange()
        for work in works.all:
            self.list.addItem(QListWidgetItem(f"{work.title}  ·  {_KIND_WORDS[work.kind]()}"))
        self.list.currentRowChanged.connect(self._mark)

    def _arrange(self) -> None:
        right = QVBoxLayout()
        right.addWidget(self.title)
        right.addWidget(self.lines, 1)
        self._row = row = QHBoxLayout()
        row.setSpacing(20)
        row.addWidget(self.list, 50)
        row.addLayout(right, 50)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(12)
        column.addWidget(self.hint)
        column.addLayout(row, 1)
        column.addWidget(self.trouble)

    @property
    def work(self) -> Work | None:
        row = self.list.currentRow()
        return self.works.all[row] if 0 <= row < len(self.works.all) else None

    def focus(self) -> None:
        self.list.setFocus()

    def mark(self, key: str) -> None:
        """Mark what a player trained last, or the first."""
        found = self.works.find(key)
        self.list.setCurrentRow(self.works.all.index(found) if found else 0 if self.works.all else -1)

    def _mark(self, row: int) -> None:
        work = self.work
        if work is not None:
            self.title.setText(work.title)
            self.lines.setText("\n\n".join(work.lines))
            self.chosen.emit(work)

    def rescale(self, scale: float, *, narrow: bool) -> None:
        fold(self._row, narrow=narrow)
        self.list.setMinimumHeight(round(220 * scale) if narrow else 0)
        self.hint.setFont(pixel_font(15 * scale))
        self.list.setFont(pixel_font(17 * scale))
        self.list.setSpacing(round(4 * scale))
        self.title.setFont(pixel_font(20 * scale, bold=True))
        self.lines.setFont(pixel_font(15 * scale))
        self.trouble.setFont(pixel_font(13 * scale))
