"""The limits of a session, explained: a picture, a sentence, the usual value and where it is from, today's reps."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QValidator
from PySide6.QtWidgets import (
    QDoubleSpinBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QRadioButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app import numerals, words
from imufeedback.app.body_view import BodyView
from imufeedback.app.common_keys import add_keys
from imufeedback.app.dialogs import Dialog, Limit
from imufeedback.app.keys import Screen, key
from imufeedback.app.labels import TARGET, pixel_font
from imufeedback.app.limit_pictures import picture
from imufeedback.app.spread import Spread
from imufeedback.phrases import phrase
from imufeedback.records import Hand


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


class LimitsDialog(Dialog):
    """A field for each limit and a button that puts it back. Whether a change is for today or for the player is asked
    where there is a player to keep it for. A change is told when the field is left or Enter is pressed, not at every
    step."""

    changed = Signal(str, float)

    def __init__(
        self,
        parent: QWidget,
        scale: float,
        limits: Mapping[str, Limit],
        player: str = "",
        hand: Hand = Hand.RIGHT,
        reps: Sequence[Mapping[str, float]] = (),
    ) -> None:
        """`reps`: the features of the reps that count."""
        super().__init__(parent, scale, phrase("limits_title"), phrase("limits_hint"))
        self._scale, self._hand = scale, hand
        self._told = {one: limit.value for one, limit in limits.items()}
        self._limits = dict(limits)
        self.fields: dict[str, QDoubleSpinBox] = {}
        self.origins: dict[str, QLabel] = {}
        self.back: dict[str, QPushButton] = {}
        self.spreads: dict[str, Spread] = {}
        self.meanings: dict[str, QLabel] = {}
        self.today = QRadioButton(phrase("for_today"))
        self.keep = QRadioButton(words.for_player(player))
        self.today.setChecked(True)
        if player:
            self._ask_for_whom()
        self.column.addWidget(self._all(limits, reps), 1)
        close = QPushButton(phrase("close_button"))
        close.setFont(pixel_font(15 * scale))
        close.setMinimumHeight(TARGET)
        close.clicked.connect(self.accept)
        self.column.addWidget(close, 0, Qt.AlignmentFlag.AlignLeft)
        add_keys(self, key(Screen.LIMITS, "back"), self._put_focused_back)
        room = parent.window().size()
        self.resize(min(round(900 * scale), room.width()), min(round(680 * scale), room.height()))
        if self.fields:
            next(iter(self.fields.values())).setFocus()

    @property
    def for_player(self) -> bool:
        """A change is kept beyond today."""
        return self.keep.isChecked()

    def _ask_for_whom(self) -> None:
        row = QHBoxLayout()
        row.setSpacing(round(24 * self._scale))
        for button in (self.today, self.keep):
            button.setFont(pixel_font(16 * self._scale))
            button.setMinimumHeight(TARGET)
            row.addWidget(button)
        row.addStretch(1)
        self.column.addLayout(row)

    def _all(self, limits: Mapping[str, Limit], reps: Sequence[Mapping[str, float]]) -> QScrollArea:
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setSpacing(round(18 * self._scale))
        for limit in limits.values():
            values = [one[limit.feature] for one in reps if limit.feature in one]
            column.addWidget(self._explained(limit, values))
        column.addStretch(1)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.viewport().setAutoFillBackground(False)
        inside.setAutoFillBackground(False)
        return area

    def _explained(self, limit: Limit, values: Sequence[float]) -> QWidget:
        scale = self._scale
        name, meaning, usual = (
            QLabel(limit.name[:1].upper() + limit.name[1:]),
            QLabel(words.limit_meaning(limit.key, limit.text)),
            QLabel(),
        )
        usual_value = numerals.quantity(limit.value if limit.usual is None else limit.usual, limit.unit)
        usual.setText(words.usual_limit(phrase("own_baseline") if limit.by_baseline else usual_value, limit.basis))
        for label, pixels in ((name, 17), (meaning, 15), (usual, 13)):
            label.setFont(pixel_font(pixels * scale, bold=label is name))
            label.setWordWrap(True)
        field, origin, back = self._field(limit), QLabel(limit.origin), QPushButton(phrase("put_back"))
        name.setBuddy(field)
        back.setAccessibleName(f"{phrase('put_back')}: {limit.name}")
        back.clicked.connect(lambda: self._put_back(limit))
        for widget in (origin, back):
            widget.setFont(pixel_font(14 * scale))
        back.setMinimumHeight(max(round(28 * scale), TARGET))
        spread = Spread(values, limit.value, limit.unit)
        spread.rescale(scale)
        body = BodyView(self._hand, (picture(limit.feature).view,))
        body.worded = False
        body.show_pose(*picture(limit.feature).pose(self._hand, limit.value if limit.unit == "deg" else None))
        body.setMinimumSize(round(110 * scale), round(110 * scale))
        body.setMaximumWidth(round(110 * scale))
        body.setAccessibleName("")  # the sentence beside it says the same
        texts, low = QVBoxLayout(), QHBoxLayout()
        low.setSpacing(round(14 * scale))
        low.addWidget(field)
        for widget in (origin, back):
            low.addWidget(widget)
        low.addStretch(1)
        for widget in (name, meaning, usual):
            texts.addWidget(widget)
        texts.addLayout(low)
        texts.addWidget(spread)
        row = QWidget()
        grid = QGridLayout(row)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(round(16 * scale))
        grid.addWidget(body, 0, 0, Qt.AlignmentFlag.AlignTop)
        grid.addLayout(texts, 0, 1)
        grid.setColumnStretch(1, 1)
        self.fields[limit.key], self.origins[limit.key], self.back[limit.key] = field, origin, back
        self.spreads[limit.key], self.meanings[limit.key] = spread, meaning
        return row

    def _put_focused_back(self) -> None:
        """The limit whose field or button has the keyboard; one key, no asking."""
        for one, field in self.fields.items():
            if field.hasFocus() or field.lineEdit().hasFocus() or self.back[one].hasFocus():
                self._put_back(self._limits[one])

    def _put_back(self, limit: Limit) -> None:
        self.fields[limit.key].setValue(limit.beneath(for_player=self.for_player))
        self._tell(limit.key, self.fields[limit.key].value(), always=True)

    def _field(self, limit: Limit) -> QDoubleSpinBox:
        usual = limit.value if limit.usual is None else limit.usual
        field = _Field(usual if limit.by_baseline else None, {"deg": "°", "1": ""}.get(limit.unit, f" {limit.unit}"))
        ratio = limit.unit == "1"
        field.setDecimals(2 if ratio else 1)
        field.setSingleStep(0.05 if ratio else 0.5)
        field.setRange(limit.low, limit.high)
        field.setValue(limit.value)
        field.setFont(pixel_font(16 * self._scale))
        field.setAccessibleName(limit.name)
        wide = field.fontMetrics().horizontalAdvance(phrase("own_baseline")) if limit.by_baseline else 0
        field.setMinimumWidth(round(max(120 * self._scale, wide + 48 * self._scale)))
        field.setMinimumHeight(max(round(30 * self._scale), TARGET))
        field.editingFinished.connect(lambda: self._tell(limit.key, field.value()))
        return field

    def _tell(self, one: str, value: float, *, always: bool = False) -> None:
        if always or value != self._told[one]:
            self._told[one] = value
            self.changed.emit(one, value)

    def show_limit(self, limit: Limit) -> None:
        """It was changed: where it comes from now, and today's reps against it."""
        self.origins[limit.key].setText(limit.origin)
        self.spreads[limit.key].show_limit(limit.value)

    def done(self, result: int) -> None:
        for one, field in self.fields.items():
            self._tell(one, field.value())
        super().done(result)
