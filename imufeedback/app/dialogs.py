"""Small windows over a running session, which goes on behind them: a note, the limits, and whether to stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import words
from imufeedback.app.labels import pixel_font


class _Dialog(QDialog):
    """Title, hint, and a column for more."""

    def __init__(self, parent: QWidget, scale: float, title: str, hint: str) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setFont(pixel_font(16 * scale))
        self.setMinimumWidth(round(520 * scale))
        self.column = QVBoxLayout(self)
        self.column.setSpacing(round(12 * scale))
        self.column.setContentsMargins(*[round(18 * scale)] * 4)
        heading = QLabel(title)
        heading.setFont(pixel_font(20 * scale, bold=True))
        self.hint = QLabel(hint)
        self.hint.setWordWrap(True)
        self.hint.setFont(pixel_font(15 * scale))
        self.column.addWidget(heading)
        self.column.addWidget(self.hint)


class NoteDialog(_Dialog):
    """One line of text."""

    noted = Signal(str)

    def __init__(self, parent: QWidget, scale: float, number: int | None) -> None:
        super().__init__(parent, scale, words.note_title(number), words.note_hint())
        self.text = QLineEdit()
        self.text.setMaxLength(400)
        self.text.setFont(self.font())
        self.text.setAccessibleName(words.note_title(number))
        self.text.returnPressed.connect(self._keep)
        self.column.addWidget(self.text)
        self.text.setFocus()

    def _keep(self) -> None:
        text = self.text.text().strip()
        if text:
            self.noted.emit(text)
        self.accept()


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit that can be changed while a session runs."""

    key: str
    """Of the command ``limit``."""
    name: str
    value: float
    unit: str
    low: float
    high: float


class LimitsDialog(_Dialog):
    """A field for each limit. A change is told when the field is left or Enter is pressed, not at every step."""

    changed = Signal(str, float)

    def __init__(self, parent: QWidget, scale: float, limits: Mapping[str, Limit]) -> None:
        super().__init__(parent, scale, words.limits_title(), words.limits_hint())
        self._told = {key: limit.value for key, limit in limits.items()}
        self.fields: dict[str, QDoubleSpinBox] = {}
        inside = QWidget()
        form = QFormLayout(inside)
        form.setVerticalSpacing(round(8 * scale))
        for key, limit in limits.items():
            label = QLabel(limit.name)
            label.setFont(pixel_font(15 * scale))
            label.setWordWrap(True)
            field = self._field(limit, scale)
            label.setBuddy(field)
            form.addRow(label, field)
            self.fields[key] = field
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setMinimumHeight(min(round(360 * scale), parent.height() - round(220 * scale)))
        self.column.addWidget(area, 1)
        close = QPushButton(words.close_button())
        close.setFont(pixel_font(15 * scale))
        close.clicked.connect(self.accept)
        self.column.addWidget(close, 0, Qt.AlignmentFlag.AlignLeft)
        if self.fields:
            next(iter(self.fields.values())).setFocus()

    def _field(self, limit: Limit, scale: float) -> QDoubleSpinBox:
        field = QDoubleSpinBox()
        ratio = limit.unit == "1"
        field.setDecimals(2 if ratio else 1)
        field.setSingleStep(0.05 if ratio else 0.5)
        field.setRange(limit.low, limit.high)
        field.setValue(limit.value)
        field.setSuffix({"deg": "°", "1": ""}.get(limit.unit, f" {limit.unit}"))
        field.setFont(pixel_font(16 * scale))
        field.setAccessibleName(limit.name)
        field.setMinimumWidth(round(120 * scale))
        field.editingFinished.connect(lambda: self._tell(limit.key, field.value()))
        return field

    def _tell(self, key: str, value: float) -> None:
        if value != self._told[key]:
            self._told[key] = value
            self.changed.emit(key, value)

    def done(self, result: int) -> None:
        for key, field in self.fields.items():
            self._tell(key, field.value())
        super().done(result)


class AskStop(_Dialog):
    """Stop the session? Enter stops, Esc goes on."""

    def __init__(self, parent: QWidget, scale: float) -> None:
        super().__init__(parent, scale, words.ask_title(), words.ask_text())
        buttons = QDialogButtonBox()
        self.stop = QPushButton(words.ask_stop())
        self.stay = QPushButton(words.ask_stay())
        buttons.addButton(self.stop, QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton(self.stay, QDialogButtonBox.ButtonRole.RejectRole)
        for button in (self.stop, self.stay):
            button.setFont(pixel_font(16 * scale))
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        self.stop.setDefault(True)
        self.stop.setFocus()
        self.column.addWidget(buttons)
