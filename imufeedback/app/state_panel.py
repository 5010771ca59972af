"""The strip read from across the bay: live state as shape, word and colour; the trail thigh angle as a number."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QFontMetrics, QResizeEvent
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QVBoxLayout, QWidget

from imufeedback.app import numerals, palette, words
from imufeedback.app.labels import pixel_font
from imufeedback.app.look import look
from imufeedback.app.palette import PanelState
from imufeedback.app.result import Result
from imufeedback.app.signs import SignMark
from imufeedback.app.trouble import Trouble, Weight
from imufeedback.phrases import phrase
from imufeedback.records import Phase, Side

LIVE = (PanelState.WAITING, PanelState.FALLING, PanelState.STALLED, PanelState.GROWING)
"""What is shown while angles come; only then is there a phase to name."""

CALM = (PanelState.WAITING, PanelState.FINISHED)
"""What may give way to the result of the last rep."""


def grave(trouble: Trouble | None) -> bool:
    """It goes before everything, the live state too."""
    return trouble is not None and trouble.weight is Weight.GRAVE


def urgent(trouble: Trouble | None) -> bool:
    """It goes before the result of a rep."""
    return trouble is not None and trouble.weight is not Weight.MILD


HEIGHT = 132
"""Pixels at scale 1."""


class StatePanel(QWidget):
    """Live state on the left, angle on the right."""

    def __init__(self, trail: Side) -> None:
        super().__init__()
        self.state = _StateBlock()
        self.angle = _AngleBlock(trail)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(8)
        row.addWidget(self.state, 62)
        row.addWidget(self.angle, 38)

    def rescale(self, scale: float, *, tall: bool = False) -> None:
        """Fit to the window: 1 is a window 720 pixels high; `tall` where sentences take more lines."""
        self.setFixedHeight(round((1.5 if tall else 1.0) * HEIGHT * scale))
        self.state.rescale(scale)
        self.angle.rescale(scale)


class _StateBlock(QFrame):
    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("state")
        self.shown = PanelState.NO_SENSORS
        first = palette.STATE_LOOKS[self.shown]
        self.sign = SignMark(first.sign, first.ink)
        self.word = QLabel()
        self.hint = QLabel()
        self.hint.setWordWrap(True)
        self.phase = QLabel()
        self.result: Result | None = None
        self.trouble: Trouble | None = None
        self._scale = 1.0
        self._arrange()
        self._paint_look()
        look.changed.connect(self._paint_look)

    def _arrange(self) -> None:
        texts = QVBoxLayout()
        texts.setSpacing(0)
        texts.addStretch(1)
        texts.addWidget(self.word)
        texts.addWidget(self.hint)
        texts.addStretch(1)
        row = QHBoxLayout(self)
        row.setSpacing(20)
        row.setContentsMargins(20, 6, 14, 6)
        row.addWidget(self.sign)
        row.addLayout(texts, 1)
        row.addWidget(self.phase, 0, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignTop)

    def show_state(self, shown: PanelState) -> None:
        if shown is not self.shown:
            self.shown = shown
            self._paint_look()

    def show_result(self, result: Result | None) -> None:
        """The last rep as headline; None goes back to the live state."""
        if result != self.result:
            self.result = result
            self._paint_look()

    def show_trouble(self, trouble: Trouble | None) -> None:
        """What is wrong; None when nothing is."""
        if trouble != self.trouble:
            self.trouble = trouble
            self._paint_look()

    @property
    def headline(self) -> Result | None:
        """The result, unless there is something more urgent to say."""
        return self.result if self.shown in CALM and not urgent(self.trouble) else None

    def show_phase(self, phase: Phase) -> None:
        self.phase.setText(words.phase_word(phase))

    def _paint_look(self) -> None:
        result = self.headline
        trouble, word = self.trouble, words.state_word(self.shown)
        shown = palette.STATE_LOOKS[self.shown] if result is None else palette.RESULT_LOOKS[result.sign]
        if trouble is not None and trouble.word and (grave(trouble) or self.shown in CALM) and result is None:
            shown, word = palette.STATE_LOOKS[PanelState.NO_SIGNAL], trouble.word
        self.sign.show_sign(shown.sign, shown.ink)
        if result is None:
            self.word.setText(word)
            self.hint.setText(words.state_hint(self.shown) if trouble is None else trouble.text)
        else:
            self.word.setText(result.what)
            over = self.shown is PanelState.FINISHED
            last = words.as_sentence(words.state_hint(self.shown)) if over else phrase("try_next", text=result.to_try)
            self.hint.setText("\n".join(one for one in (result.number, last) if one))
        self.setStyleSheet(
            f"#state {{ background: {shown.ground}; border-radius: 6px; }} QLabel {{ color: {shown.ink}; }}"
        )
        self.phase.setVisible(self.shown in LIVE and result is None)
        self.setAccessibleName(f"{self.word.text()} {self.hint.text()}")
        self._fit_word()

    def rescale(self, scale: float) -> None:
        self._scale = scale
        side = round(70 * scale)
        self.sign.setFixedSize(side, side)
        self.phase.setFont(pixel_font(18 * scale))
        self._fit_word()

    def _fit_word(self) -> None:
        headline = self.headline is not None
        self.word.setWordWrap(headline)
        self.hint.setFont(pixel_font((18 if headline else 16) * self._scale, bold=headline))
        if headline:
            self.word.setFont(pixel_font(self._fitted(28 * self._scale), bold=True))
            return
        # "waiting for sensors" is twice as long as any state and read once; the states get the full size.
        long = len(self.word.text()) > 10
        self.word.setFont(pixel_font((46 if long else 72) * self._scale, bold=True))

    def _fitted(self, pixels: float) -> float:
        """Pixels at which the sentence takes two lines at most."""
        room = max(self.width() - self.sign.width() - 60, 200)
        while (
            pixels > 14 and QFontMetrics(pixel_font(pixels, bold=True)).horizontalAdvance(self.word.text()) > 1.8 * room
        ):
            pixels *= 0.95
        return pixels

    def resizeEvent(self, event: QResizeEvent) -> None:  # noqa: N802 – Qt names it
        super().resizeEvent(event)
        self._fit_word()


class _AngleBlock(QFrame):
    def __init__(self, trail: Side) -> None:
        super().__init__()
        self.setObjectName("angle")
        self._restyle()
        look.changed.connect(self._restyle)
        self.title = QLabel(phrase("angle_title", side=words.side_word(trail)))
        self.number = QLabel(numerals.UNKNOWN)
        self.spread = QLabel()
        self._was_known = False
        self._arrange()

    def _restyle(self) -> None:
        self.setStyleSheet(
            f"#angle {{ background: {palette.PAPER}; border-radius: 6px; }} QLabel {{ color: {palette.INK}; }}"
        )

    def _arrange(self) -> None:
        row = QHBoxLayout()
        row.setSpacing(14)
        row.addWidget(self.number)
        row.addWidget(self.spread)
        row.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(20, 8, 14, 4)
        column.setSpacing(0)
        column.addWidget(self.title)
        column.addLayout(row, 1)

    def show_angle(self, angle_deg: float | None, sd_deg: float | None) -> None:
        """The angle and one standard deviation, in degrees; None when it is not known now."""
        self.number.setText(numerals.degrees(angle_deg))
        self._was_known |= angle_deg is not None
        unknown = phrase("not_known") if self._was_known else ""
        self.spread.setText(unknown if angle_deg is None or sd_deg is None else words.spread(sd_deg))

    def rescale(self, scale: float) -> None:
        self.title.setFont(pixel_font(16 * scale))
        self.number.setFont(pixel_font(76 * scale, bold=True))
        self.spread.setFont(pixel_font(26 * scale))
