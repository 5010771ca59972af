"""The range view, read from four metres: the state or the result of the last rep, one number, the body square to the
pelvis, the last ten reps as marks, the next step.

Nothing moves that need not: the number stays while it changes by less than a degree, and nothing is animated.
"""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QRect, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter, QPaintEvent, QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSizePolicy, QVBoxLayout, QWidget

from imufeedback.app import numerals, palette, words
from imufeedback.app.body_view import BodyView
from imufeedback.app.labels import pixel_font, room_of
from imufeedback.app.last_reps import LastReps
from imufeedback.app.next_words import next_words
from imufeedback.app.palette import Look, PanelState
from imufeedback.app.result import Result
from imufeedback.app.signs import paint_sign
from imufeedback.app.state_panel import CALM, grave, urgent
from imufeedback.app.step_panel import StepPanel
from imufeedback.app.theme import LIGHT, Theme
from imufeedback.app.tracks import RepEntry
from imufeedback.app.trouble import Trouble
from imufeedback.figure.drawing import DrawnExtras as Drawn
from imufeedback.figure.drawing import View
from imufeedback.phrases import phrase
from imufeedback.records import Floats, Hand, StepTold

WRAPPED = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter | Qt.TextFlag.TextWordWrap
STILL_DEG = 0.75
"""The number follows the angle only when it is further away than this."""
RESULT_SHARE = 0.075
"""Largest letters of a result's sentence, of the view's height."""


class RangeView(QWidget):
    """Everything is painted, and painted anew only when something that is shown has changed."""

    def __init__(self, side: str, hand: Hand = Hand.RIGHT) -> None:
        super().__init__()
        self.theme: Theme = LIGHT
        self.state = _Block()
        self.number = QLabel(numerals.UNKNOWN)
        self.caption = QLabel(phrase("angle_title", side=side))
        self.marks = LastReps()
        self.body = BodyView(hand, (View.PELVIS,))
        self.step = StepPanel(hand)
        self.next, self.why = QLabel(), QLabel()
        self.shown = PanelState.NO_SENSORS
        self._angle_deg: float | None = None
        self._last: RepEntry | None = None
        self._trouble: Trouble | None = None
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setObjectName("range")
        self._arrange()
        self.show_theme(LIGHT)

    def _arrange(self) -> None:
        number = QVBoxLayout()
        number.addWidget(self.number, 1)
        number.addWidget(self.caption)
        self._left = QVBoxLayout()
        self._left.addWidget(self.state, 46)
        self._left.addLayout(number, 54)
        self._left.addWidget(self.step, 54)
        row = QHBoxLayout()
        row.addLayout(self._left, 64)
        row.addWidget(self.body, 36)
        self._column = column = QVBoxLayout(self)
        column.addLayout(row, 78)
        column.addWidget(self.marks)
        column.addWidget(self.next, 16)
        column.addWidget(self.why, 8)
        self.why.hide()
        for label in (self.number, self.next, self.why):
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.next.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        self.why.setAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)

    def show_theme(self, theme: Theme) -> None:
        self.theme = theme
        self.setStyleSheet(f"#range {{ background: {theme.ground}; }} QLabel {{ color: {theme.ink}; }}")
        self.caption.setStyleSheet(f"color: {theme.soft_ink};")
        self.marks.show_theme(theme)
        self.body.show_theme(theme)
        self.step.show_theme(theme)
        self.state.show_look(self.shown, theme)

    def show_state(self, shown: PanelState) -> None:
        if shown is not self.shown:
            self.shown = shown
            self.state.show_look(shown, self.theme)
            self._say()

    def show_step(self, told: StepTold | None, rule_set: str) -> None:
        """The step of a drill in place of the number; None where none is done."""
        self.step.show_step(told, rule_set)
        for label in (self.number, self.caption):
            label.setVisible(told is None)

    def show_result(self, result: Result | None) -> None:
        """The last rep in place of the state; None shows the state."""
        self.state.show_result(result)

    def show_trouble(self, trouble: Trouble | None) -> None:
        """What is wrong, in place of the result and of what to do next."""
        if trouble != self._trouble:
            self._trouble = trouble
            self.state.show_trouble(trouble)
            self._say()

    def show_pose(self, pose: Floats | None, shown: Drawn, ghost_name: str) -> None:
        """The body, at the pace of the frames."""
        self.body.show_pose(pose, shown, ghost_name)

    def show_angle(self, angle_deg: float | None) -> None:
        """Degrees; None when it is not known now."""
        before = self._angle_deg
        if angle_deg is None or before is None or abs(angle_deg - before) > STILL_DEG:
            self._angle_deg = angle_deg
            self.number.setText(numerals.degrees(angle_deg))

    def show_reps(self, entries: Sequence[RepEntry], last: RepEntry | None) -> None:
        """The last reps that count, and the last of all, which the words are about."""
        self._last = last
        self.marks.show_reps(entries)
        self._say()

    def _say(self) -> None:
        trouble = self._trouble if urgent(self._trouble) or self.state.headline is None else None
        self.next.setText(next_words(self.shown, self._last) if trouble is None else trouble.text)
        self.next.setWordWrap(trouble is not None)
        self.next.setAccessibleName(self.next.text())
        void = self._last.rep.void if self._last is not None else ""
        self.why.setText(void)
        self.why.setVisible(bool(void) and self.next.text() == phrase("next.void"))
        self._fit_words()

    @property
    def _tall(self) -> float:
        """Height that letters go by. Never more than the window's: letters that grow with a page that grows with its
        letters have no end."""
        return float(min(self.height(), self.window().height()))

    def _fit_words(self) -> None:
        self._fit_label(self.next, 0.115 if self.why.isHidden() else 0.095, bold=True)
        self._fit_label(self.why, 0.06, bold=False)

    def _fit_label(self, label: QLabel, share: float, *, bold: bool) -> None:
        """As large as the share of the height, and no larger than the width allows; on two lines where it may wrap."""
        room = self.width() - 2 * self._column.contentsMargins().left()
        if label.wordWrap():
            room, share = round(1.8 * room), 0.55 * share
        pixels = share * self._tall
        while pixels > 12 and QFontMetrics(pixel_font(pixels, bold=bold)).horizontalAdvance(label.text()) > room:
            pixels *= 0.95
        label.setFont(pixel_font(pixels, bold=bold))

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self.rescale()

    def rescale(self) -> None:
        """Fit everything to the view's own size."""
        scale = room_of(self)
        margin = round(26 * scale)
        self._column.setContentsMargins(margin, margin, margin, round(12 * scale))
        self._column.setSpacing(round(12 * scale))
        self.number.setFont(pixel_font(min(0.36 * self._tall, 0.2 * self.width()), bold=True))
        self.step.rescale(0.042 * self._tall)
        self.caption.setFont(pixel_font(0.042 * self._tall))
        self.marks.rescale(min(0.095 * self._tall, 0.06 * self.width()))
        self._fit_words()


class _Block(QWidget):
    """The state as sign, word and colour."""

    def __init__(self) -> None:
        super().__init__()
        self._shown, self._theme = PanelState.NO_SENSORS, LIGHT
        self._result: Result | None = None
        self._trouble: Trouble | None = None
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Ignored)

    def show_look(self, shown: PanelState, theme: Theme) -> None:
        self._shown, self._theme = shown, theme
        self._name()

    def show_result(self, result: Result | None) -> None:
        if result != self._result:
            self._result = result
            self._name()

    def show_trouble(self, trouble: Trouble | None) -> None:
        self._trouble = trouble
        self._name()

    @property
    def headline(self) -> Result | None:
        """The result, unless there is something more urgent to say."""
        return self._result if self._shown in CALM and not urgent(self._trouble) else None

    def _state(self) -> tuple[Look, str]:
        """Look and word while there is no result to show."""
        trouble = self._trouble
        if trouble is not None and trouble.word and (grave(trouble) or self._shown in CALM):
            return self._theme.state(PanelState.NO_SIGNAL), trouble.word
        return self._theme.state(self._shown), words.state_word(self._shown)

    def _name(self) -> None:
        result = self.headline
        self.setAccessibleName(self._state()[1] if result is None else f"{result.what} {result.number}")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        if self.headline is not None:
            self._paint_result(self.headline)
            return
        look, word = self._state()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(look.ground))
        painter.drawRoundedRect(QRectF(self.rect()), 0.05 * self.height(), 0.05 * self.height())
        side, left = self._sign_px, 0.12 * self.height()
        paint_sign(painter, look.sign, QRectF(left, (self.height() - side) / 2, side, side), look.ink)
        left += side + 0.14 * self.height()
        font = pixel_font(self.fitted(word, self.word_room), bold=True)
        painter.setFont(font)
        painter.setPen(QColor(look.ink))
        painter.drawText(
            QRectF(left, 0, self.width() - left, self.height()),
            Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter,
            word,
        )
        painter.end()

    @property
    def _sign_px(self) -> float:
        return min(0.5 * self.height(), 0.2 * self.width())

    @property
    def word_room(self) -> float:
        """Pixels beside the sign."""
        return self.width() - self._sign_px - 0.26 * self.height() - 20

    def _paint_result(self, result: Result) -> None:
        look = palette.RESULT_LOOKS[result.sign]
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(look.ground))
        painter.drawRoundedRect(QRectF(self.rect()), 0.05 * self.height(), 0.05 * self.height())
        side, edge = 0.26 * self.height(), 0.08 * self.height()
        paint_sign(painter, look.sign, QRectF(edge, edge, side, side), look.ink)
        painter.setPen(QColor(look.ink))
        number = self._number_font(result.number)
        painter.setFont(number)
        tall = 1.25 * number.pixelSize() if result.number else 0.0
        room = QRectF(edge, self.height() - tall - 0.5 * edge, self.width() - 2 * edge, tall)
        painter.drawText(room, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, result.number)
        left = 2 * edge + side
        box = QRect(
            round(left), round(0.5 * edge), round(self.width() - left - edge), round(self.height() - tall - edge)
        )
        painter.setFont(pixel_font(self.sentence_px(result.what, box), bold=True))
        painter.drawText(box, WRAPPED, result.what)
        painter.end()

    def _number_font(self, text: str) -> QFont:
        pixels = 0.26 * self.height()
        room = 0.86 * self.width()
        while pixels > 12 and QFontMetrics(pixel_font(pixels, bold=True)).horizontalAdvance(text) > room:
            pixels *= 0.95
        return pixel_font(pixels, bold=True)

    def sentence_px(self, text: str, box: QRect) -> float:
        """Pixels at which a sentence fits into its box, on as many lines as it takes."""
        pixels = RESULT_SHARE * self.window().height() if self.window() is not None else 0.2 * self.height()
        while pixels > 12:
            needed = QFontMetrics(pixel_font(pixels, bold=True)).boundingRect(
                QRect(0, 0, box.width(), 4000), WRAPPED, text
            )
            if needed.height() <= box.height() and needed.width() <= box.width():
                break
            pixels *= 0.95
        return pixels

    def fitted(self, word: str, room: float) -> float:
        """Pixels at which the word fits."""
        pixels = 0.62 * self.height()
        while pixels > 12 and QFontMetrics(pixel_font(pixels, bold=True)).horizontalAdvance(word) > room:
            pixels *= 0.95
        return pixels
