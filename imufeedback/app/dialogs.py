"""Small windows over a running session, which goes on behind them: a note, the limits, and whether to stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QValidator
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QDoubleSpinBox,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QScrollArea,
    QSpinBox,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import words
from imufeedback.app.labels import pixel_font
from imufeedback.phrases import phrase
from imufeedback.rules import Whose


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
        super().__init__(parent, scale, words.note_title(number), phrase("note_hint"))
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
    usual: float | None = None
    """The rule set's own."""
    own: float | None = None
    """The player's own; None where there is none."""
    whose: Whose | None = None
    """Where `value` comes from; None: from the rule set."""
    by_baseline: bool = False
    """While the rule set's value stands the player's own baseline counts, and no number …"""
    narrowed: bool = False
    """… or narrows it."""

    @property
    def origin(self) -> str:
        """Where `value` comes from, in words."""
        if self.by_baseline and self.whose is None:
            return phrase("no_target")
        return words.origin(self.whose, baseline=self.narrowed and self.whose is None)

    def beneath(self, *, for_player: bool) -> float:
        """What counts again when a change is put back: the rule set's, or the player's own under one of today."""
        usual = self.value if self.usual is None else self.usual
        return usual if for_player or self.own is None else self.own


class _Field(QDoubleSpinBox):
    """A number; at one value it says that the player's own baseline counts instead."""

    def __init__(self, baseline_at: float | None, suffix: str) -> None:
        super().__init__()
        self._baseline_at, self._suffix = baseline_at, suffix
        self.valueChanged.connect(self._with_suffix)
        self._with_suffix(self.value())

    def _is_baseline(self, value: float) -> bool:
        return self._baseline_at is not None and abs(value - self._baseline_at) < 1e-6

    def _with_suffix(self, value: float) -> None:
        self.setSuffix("" if self._is_baseline(value) else self._suffix)

    def textFromValue(self, value: float) -> str:  # noqa: N802 - Qt's name
        return phrase("own_baseline") if self._is_baseline(value) else super().textFromValue(value)

    def valueFromText(self, text: str) -> float:  # noqa: N802 - Qt's name
        if self._baseline_at is not None and text == phrase("own_baseline"):
            return self._baseline_at
        return super().valueFromText(text)

    def validate(self, text: str, position: int) -> tuple[QValidator.State, str, int]:
        if self._baseline_at is not None and text == phrase("own_baseline"):
            return QValidator.State.Acceptable, text, position
        return super().validate(text, position)


class LimitsDialog(_Dialog):
    """A field for each limit, where its value comes from, and a button that puts it back. Whether a change is for today
    or for the player is asked where there is a player to keep it for. A change is told when the field is left or Enter
    is pressed, not at every step."""

    changed = Signal(str, float)

    def __init__(self, parent: QWidget, scale: float, limits: Mapping[str, Limit], player: str = "") -> None:
        super().__init__(parent, scale, phrase("limits_title"), phrase("limits_hint"))
        self._told = {key: limit.value for key, limit in limits.items()}
        self.fields: dict[str, QDoubleSpinBox] = {}
        self.origins: dict[str, QLabel] = {}
        self.back: dict[str, QPushButton] = {}
        self.today = QRadioButton(phrase("for_today"))
        self.keep = QRadioButton(words.for_player(player))
        self.today.setChecked(True)
        if player:
            self._ask_for_whom(scale)
        inside = QWidget()
        form = QGridLayout(inside)
        form.setVerticalSpacing(round(8 * scale))
        form.setColumnStretch(0, 1)
        for row, limit in enumerate(limits.values()):
            self._add(form, row, limit, scale)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setMinimumHeight(min(round(360 * scale), parent.height() - round(220 * scale)))
        self.column.addWidget(area, 1)
        close = QPushButton(phrase("close_button"))
        close.setFont(pixel_font(15 * scale))
        close.clicked.connect(self.accept)
        self.column.addWidget(close, 0, Qt.AlignmentFlag.AlignLeft)
        if self.fields:
            next(iter(self.fields.values())).setFocus()

    @property
    def for_player(self) -> bool:
        """A change is kept beyond today."""
        return self.keep.isChecked()

    def _ask_for_whom(self, scale: float) -> None:
        row = QHBoxLayout()
        for button in (self.today, self.keep):
            button.setFont(pixel_font(16 * scale))
            row.addWidget(button)
        row.addStretch(1)
        self.column.addLayout(row)

    def _add(self, form: QGridLayout, row: int, limit: Limit, scale: float) -> None:
        label, origin = QLabel(limit.name), QLabel(limit.origin)
        field, back = self._field(limit, scale), QPushButton(phrase("put_back"))
        label.setBuddy(field)
        back.setAccessibleName(f"{phrase('put_back')}: {limit.name}")
        back.clicked.connect(lambda: self._put_back(limit))
        for column, widget in enumerate((label, field, origin, back)):
            if widget is not field:
                widget.setFont(pixel_font(15 * scale))
            form.addWidget(widget, row, column)
        label.setWordWrap(True)
        self.fields[limit.key], self.origins[limit.key], self.back[limit.key] = field, origin, back

    def _put_back(self, limit: Limit) -> None:
        self.fields[limit.key].setValue(limit.beneath(for_player=self.for_player))
        self._tell(limit.key, self.fields[limit.key].value(), always=True)

    def _field(self, limit: Limit, scale: float) -> QDoubleSpinBox:
        usual = limit.value if limit.usual is None else limit.usual
        field = _Field(usual if limit.by_baseline else None, {"deg": "°", "1": ""}.get(limit.unit, f" {limit.unit}"))
        ratio = limit.unit == "1"
        field.setDecimals(2 if ratio else 1)
        field.setSingleStep(0.05 if ratio else 0.5)
        field.setRange(limit.low, limit.high)
        field.setValue(limit.value)
        field.setFont(pixel_font(16 * scale))
        field.setAccessibleName(limit.name)
        field.setMinimumWidth(round(120 * scale))
        field.editingFinished.connect(lambda: self._tell(limit.key, field.value()))
        return field

    def _tell(self, key: str, value: float, *, always: bool = False) -> None:
        if always or value != self._told[key]:
            self._told[key] = value
            self.changed.emit(key, value)

    def show_limit(self, limit: Limit) -> None:
        """It was changed: where it comes from now."""
        self.origins[limit.key].setText(limit.origin)

    def done(self, result: int) -> None:
        for key, field in self.fields.items():
            self._tell(key, field.value())
        super().done(result)


class HomeworkDialog(_Dialog):
    """A drill, how many reps a day, and on how many days."""

    given = Signal(str, int, int)

    def __init__(self, parent: QWidget, scale: float, player: str, drills: Mapping[str, str], suggested: str) -> None:
        """`drills`: title by name."""
        super().__init__(parent, scale, phrase("homework_title", player=player), phrase("homework_hint"))
        self.drill, self.reps, self.days = QComboBox(), QSpinBox(), QSpinBox()
        for name, title in drills.items():
            self.drill.addItem(title, name)
        self.drill.setCurrentIndex(max(self.drill.findData(suggested), 0))
        form = QFormLayout()
        for field, text, least, most, usual in (
            (self.reps, phrase("homework_reps"), 1, 500, HOMEWORK_REPS),
            (self.days, phrase("homework_days"), 1, 60, HOMEWORK_DAYS),
        ):
            field.setRange(least, most)
            field.setValue(usual)
            field.setAccessibleName(text.replace("&", ""))
        for text, widget in (
            (phrase("homework_drill"), self.drill),
            (phrase("homework_reps"), self.reps),
            (phrase("homework_days"), self.days),
        ):
            label = QLabel(text)
            for one in (label, widget):
                one.setFont(pixel_font(16 * scale))
            form.addRow(label, widget)
        self.column.addLayout(form)
        self.give = QPushButton(phrase("homework_give"))
        self.give.setFont(pixel_font(16 * scale))
        self.give.setDefault(True)
        self.give.clicked.connect(self._give)
        self.column.addWidget(self.give, 0, Qt.AlignmentFlag.AlignLeft)

    def _give(self) -> None:
        self.given.emit(self.drill.currentData(), self.reps.value(), self.days.value())
        self.accept()


HOMEWORK_REPS, HOMEWORK_DAYS = 20, 5
"""Ten minutes on five days of a week. Common practice, no source."""


class AskStop(_Dialog):
    """Stop the session? Enter stops, Esc goes on."""

    def __init__(self, parent: QWidget, scale: float) -> None:
        super().__init__(parent, scale, phrase("ask_title"), phrase("ask_text"))
        buttons = QDialogButtonBox()
        self.stop = QPushButton(phrase("ask_stop"))
        self.stay = QPushButton(phrase("ask_stay"))
        buttons.addButton(self.stop, QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.addButton(self.stay, QDialogButtonBox.ButtonRole.RejectRole)
        for button in (self.stop, self.stay):
            button.setFont(pixel_font(16 * scale))
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        self.stop.setDefault(True)
        self.stop.setFocus()
        self.column.addWidget(buttons)
