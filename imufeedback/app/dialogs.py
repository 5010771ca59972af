"""Small windows over a running session, which goes on behind them: a note, the limits, and whether to stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSpinBox,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import words
from imufeedback.app.labels import pixel_font
from imufeedback.phrases import phrase
from imufeedback.rules import Whose


class Dialog(QDialog):
    """Title, hint, and a column for more."""

    def __init__(self, parent: QWidget, scale: float, title: str, hint: str) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setFont(pixel_font(16 * scale))
        self.setMinimumWidth(min(round(520 * scale), round(0.9 * parent.window().width())))
        self.column = QVBoxLayout(self)
        self.column.setSpacing(round(12 * scale))
        self.column.setContentsMargins(*[round(18 * scale)] * 4)
        heading = QLabel(title)
        heading.setFont(pixel_font(20 * scale, bold=True))
        heading.setWordWrap(True)
        self.hint = QLabel(hint)
        self.hint.setWordWrap(True)
        self.hint.setFont(pixel_font(15 * scale))
        self.column.addWidget(heading)
        self.column.addWidget(self.hint)


class NoteDialog(Dialog):
    """One line of text."""

    noted = Signal(str)

    def __init__(self, parent: QWidget, scale: float, number: int | None) -> None:
        super().__init__(parent, scale, words.note_title(number), phrase("note_hint"))
        self.text = QLineEdit()
        self.text.setMaxLength(400)
        self.text.setFont(self.font())
        self.text.setMinimumHeight(max(round(32 * scale), 24))
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
    feature: str = ""
    """What of a rep it is compared with."""
    text: str = ""
    """Of its rule."""
    basis: str = ""
    """What the usual value rests on."""

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


class HomeworkDialog(Dialog):
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


class AskStop(Dialog):
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
