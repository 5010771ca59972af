"""A rep to learn from: beside another one, at any speed, from marked position to marked position."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSlider,
    QWidget,
)

from imufeedback.app import words
from imufeedback.app.labels import TARGET, pixel_font
from imufeedback.app.review.model import POSITIONS
from imufeedback.document import JudgedRep
from imufeedback.phrases import phrase

SLIDER = 1000
SLOWEST, FASTEST, USUAL = 0.05, 2.0, 0.25


class LessonBar(QWidget):
    """Which rep is beside, how fast it plays, where it stands. The window does what the signals ask for."""

    beside_changed = Signal()
    speed_changed = Signal(float)
    moved = Signal(int)
    """The slider, 0 to `SLIDER`."""
    position_wanted = Signal(str)
    """Name of a mark."""

    def __init__(self) -> None:
        super().__init__()
        self.beside, self.apart = QComboBox(), QCheckBox(phrase("side_by_side"))
        self.beside.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToContents)
        self.beside.setAccessibleName(phrase("beside_which"))
        self.speed = QDoubleSpinBox()
        self.speed.setRange(SLOWEST, FASTEST)
        self.speed.setSingleStep(0.05)
        self.speed.setValue(USUAL)
        self.speed.setSuffix("×")
        self.speed.setAccessibleName(phrase("speed_name"))
        self.slider = QSlider(Qt.Orientation.Horizontal)
        self.slider.setRange(0, SLIDER)
        self.slider.setMinimumHeight(TARGET)
        self.slider.setAccessibleName(phrase("slider_name"))
        self.positions = {mark: QPushButton(words.position_word(mark)) for mark in POSITIONS}
        self._labels = [QLabel(phrase("beside_which")), QLabel(phrase("speed_name"))]
        self._arrange()
        self.beside.activated.connect(lambda *_: self.beside_changed.emit())
        self.apart.toggled.connect(lambda *_: self.beside_changed.emit())
        self.speed.valueChanged.connect(self.speed_changed)
        self.slider.valueChanged.connect(self._slid)
        for mark, button in self.positions.items():
            button.clicked.connect(lambda _=False, mark=mark: self.position_wanted.emit(mark))

    def _arrange(self) -> None:
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        for widget in (self._labels[0], self.beside, self.apart, self._labels[1], self.speed, self.slider):
            row.addWidget(widget, 1 if widget is self.slider else 0)
        for button in self.positions.values():
            row.addWidget(button)

    def show_reps(self, reps: Sequence[JudgedRep], best: int | None) -> None:
        """What can be beside: nothing, the best rep, any that counts; the choice stays where it can."""
        before = self.beside.currentData()
        self.beside.clear()
        self.beside.addItem(phrase("beside_nothing"), None)
        if best is not None:
            self.beside.addItem(phrase("beside_best", number=best + 1), best)
        for rep in reps:
            if not rep.void and rep.index != best:
                self.beside.addItem(phrase("rep_name", number=rep.index + 1), rep.index)
        self.beside.setCurrentIndex(max(self.beside.findData(before), 0))

    @property
    def other(self) -> int | None:
        """Index of the rep that is beside."""
        found: int | None = self.beside.currentData()
        return found

    def show_marks(self, rep: JudgedRep) -> None:
        for mark, button in self.positions.items():
            button.setEnabled(mark in rep.positions)

    def show_place(self, share: float) -> None:
        """Where the played rep stands, 0 to 1."""
        if not self.slider.isSliderDown():
            self.slider.blockSignals(True)
            self.slider.setValue(round(SLIDER * share))
            self.slider.blockSignals(False)

    def _slid(self, value: int) -> None:
        self.moved.emit(value)

    def rescale(self, scale: float) -> None:
        font = pixel_font(13 * scale)
        for widget in (*self._labels, self.beside, self.apart, self.speed, *self.positions.values()):
            widget.setFont(font)
