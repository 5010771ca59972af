"""The step of a drill that is being done: its picture from the side and from above, what to do, what must stay still,
and how many good ones there are. Hidden where no drill is done."""

from __future__ import annotations

from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from imufeedback.app import words
from imufeedback.app.body_view import BodyView
from imufeedback.app.labels import pixel_font
from imufeedback.app.limits import rule_set_of
from imufeedback.app.theme import Theme
from imufeedback.figure.drawing import DrawnExtras
from imufeedback.figure.posture import POSTURES, VIEWS, pose_of
from imufeedback.records import Hand, StepTold

HEAD, TEXT, SMALL = 1.3, 1.0, 0.85
"""Letters of its lines, against each other."""


class StepPanel(QWidget):
    """Shows what it is told last."""

    def __init__(self, hand: Hand) -> None:
        super().__init__()
        self._hand = hand
        self.picture = BodyView(hand, VIEWS)
        self.picture.worded = False
        self.head, self.text, self.still, self.why = QLabel(), QLabel(), QLabel(), QLabel()
        column = QVBoxLayout()
        column.setSpacing(2)
        for label in (self.head, self.text, self.still, self.why):
            label.setWordWrap(True)
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
            column.addWidget(label)
        column.addStretch(1)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.picture, 26)
        row.addLayout(column, 74)
        self.hide()

    def show_step(self, told: StepTold | None, rule_set: str) -> None:
        """None: no drill is done. `rule_set` is the drill's TOML text, which has the pictures."""
        self.setVisible(told is not None)
        if told is None:
            return
        self.head.setText(words.step_head(told))
        self.text.setText(told.text)
        self.still.setText("" if told.over or not told.still else words.step_still(told.still))
        self.why.setText(words.step_why(told))
        for label in (self.text, self.still, self.why):
            label.setVisible(bool(label.text()))
        self.setAccessibleName(f"{self.head.text()}. {self.text.text()} {self.why.text()}")
        name = _picture(rule_set, told.number)
        self.picture.setVisible(name in POSTURES)
        if name in POSTURES:
            self.picture.show_pose(pose_of(name, self._hand), DrawnExtras(shanks=True))

    def show_theme(self, theme: Theme) -> None:
        self.picture.show_theme(theme)

    def rescale(self, pixels: float) -> None:
        """Letters of the text are so large."""
        self.head.setFont(pixel_font(HEAD * pixels, bold=True))
        self.text.setFont(pixel_font(TEXT * pixels))
        self.still.setFont(pixel_font(SMALL * pixels))
        self.why.setFont(pixel_font(SMALL * pixels, bold=True))


def _picture(rule_set: str, number: int) -> str:
    found = rule_set_of(rule_set)
    steps = found.drill.steps if found is not None and found.drill is not None else ()
    return steps[min(number, len(steps) - 1)].picture if steps else ""
