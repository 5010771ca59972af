"""One line of numbers under the plot: the last rep beside the one it is compared with."""

from __future__ import annotations

from PySide6.QtWidgets import QGridLayout, QLabel

from imufeedback.app import numerals, palette, words
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.panels import BayPanel
from imufeedback.app.tracks import ANGLES, Book, Choice


class Panel(BayPanel):
    """Two rows: last rep and reference; columns: trail thigh angle at the positions."""

    def __init__(self) -> None:
        super().__init__()
        grid = QGridLayout(self)
        grid.setContentsMargins(8, 0, 8, 2)
        grid.setHorizontalSpacing(16)
        grid.setVerticalSpacing(1)
        self.names = [QLabel(), QLabel()]
        self.cells = [[QLabel() for _ in ANGLES] for _ in self.names]
        self.heads = [QLabel(words.mark_word(mark)) for mark in ANGLES]
        for column, head in enumerate(self.heads, start=1):
            grid.addWidget(head, 0, column)
        for row, (name, cells) in enumerate(zip(self.names, self.cells, strict=True), start=1):
            grid.addWidget(name, row, 0)
            for column, cell in enumerate(cells, start=1):
                grid.addWidget(cell, row, column)
        grid.setColumnStretch(0, 1)
        self._restyle()
        look.changed.connect(self._restyle)
        self.show_book(Book(), Choice.BEST)

    def _restyle(self) -> None:
        self.names[0].setStyleSheet(f"color: {palette.TRAIL};")

    def show_book(self, book: Book, choice: Choice) -> None:
        last, reference = book.pair(choice)
        itself = last is not None and book.reference(choice) is last
        self.names[0].setText(words.last_rep(last.number if last else None))
        self.names[1].setText(words.reference_name(choice, reference, itself=itself))
        for cells, track in zip(self.cells, (last, reference), strict=True):
            for cell, value in zip(cells, track.at_marks_deg if track else (None, None, None), strict=True):
                cell.setText(numerals.degrees(value))

    def rescale(self, scale: float) -> None:
        for label in (*self.names, *self.heads, *self.cells[0], *self.cells[1]):
            label.setFont(pixel_font(13 * scale, bold=label in self.cells[0]))
