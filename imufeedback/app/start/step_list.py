"""The steps at the left: sign, word and one line of what is there or missing."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QHBoxLayout, QLabel, QPushButton, QSizePolicy, QVBoxLayout, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import add_key, pixel_font
from imufeedback.app.palette import Look, PaintedSign
from imufeedback.app.signs import SignMark
from imufeedback.app.start import texts
from imufeedback.app.start.readiness import Mark, StartStep


def mark_look(mark: Mark) -> Look:
    """How a step is marked."""
    ink, sign = {
        Mark.DONE: (palette.GOOD_INK, PaintedSign.TICK),
        Mark.OPEN: (palette.SOFT_INK, PaintedSign.RING),
        Mark.BUSY: (palette.INK, PaintedSign.DISC),
        Mark.TROUBLE: (palette.ALARM_INK, PaintedSign.CROSS),
    }[mark]
    return Look(ink, palette.PAPER, sign)


class StepList(QWidget):
    """One button a step; pressing it shows that step."""

    def __init__(self, on_step: Callable[[StartStep], None]) -> None:
        super().__init__()
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(10)
        self.rows = {step: StepRow(step, number) for number, step in enumerate(StartStep, start=1)}
        for step, row in self.rows.items():
            row.clicked.connect(lambda _=False, step=step: on_step(step))
            column.addWidget(row)
        column.addStretch(1)

    def show_step(self, step: StartStep, mark: Mark, line: str) -> None:
        self.rows[step].show_state(mark, line)

    def show_current(self, current: StartStep) -> None:
        for step, row in self.rows.items():
            row.setChecked(step is current)

    def rescale(self, scale: float, room: int) -> None:
        self.setFixedWidth(min(round(300 * scale), round(0.34 * room)))
        for row in self.rows.values():
            row.rescale(scale)


class StepRow(QPushButton):
    """Number, title, sign and one line."""

    def __init__(self, step: StartStep, number: int) -> None:
        super().__init__()
        self.setCheckable(True)
        self.setObjectName("step")
        add_key(self, f"Alt+{number}")
        self.step = step
        self.title = QLabel(f"{number}  {texts.title(step)}")
        self.title.setWordWrap(True)
        self.line = QLabel()
        self.line.setWordWrap(True)
        self.sign = SignMark(PaintedSign.RING, palette.SOFT_INK)
        self._arrange()
        self.show_state(Mark.OPEN, "")

    def _arrange(self) -> None:
        words = QVBoxLayout()
        words.setSpacing(2)
        words.addWidget(self.title)
        words.addWidget(self.line, 1)
        row = QHBoxLayout(self)
        row.setContentsMargins(14, 12, 10, 12)
        row.setSpacing(14)
        row.addWidget(self.sign, 0, Qt.AlignmentFlag.AlignVCenter)
        row.addLayout(words, 1)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Minimum)
        for part in (self.title, self.line, self.sign):
            part.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)

    def show_state(self, mark: Mark, line: str) -> None:
        look = mark_look(mark)
        self.line.setText(line)
        self.line.setStyleSheet(f"color: {look.ink};")
        self.sign.show_sign(look.sign, look.ink)
        self.setAccessibleName(f"{texts.title(self.step)}: {texts.mark_word(mark)}, {line}")

    def rescale(self, scale: float) -> None:
        self.title.setFont(pixel_font(19 * scale, bold=True))
        self.line.setFont(pixel_font(14 * scale))
        self.sign.setFixedSize(round(24 * scale), round(24 * scale))
        self.setMinimumHeight(round(92 * scale))

    def sizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(200, 80)
