"""Small text widgets shared by the panels."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QFont, QKeySequence, QPainter, QPaintEvent, QShortcut
from PySide6.QtWidgets import QAbstractButton, QFrame, QHBoxLayout, QLabel, QPushButton, QSizePolicy, QWidget

from imufeedback.app import palette
from imufeedback.app.look import look
from imufeedback.app.signs import SignMark
from imufeedback.app.text_size import text_size
from imufeedback.phrases import phrase

NOTICE_S = 8.0
"""A notice leaves by itself; a fault stays until it is dismissed."""
HISTORY = 50


BASE_WIDTH, BASE_HEIGHT = 1280, 720
"""Size of the window at which texts have their plain size."""
SMALLEST, LARGEST = 0.7, 2.5
TARGET = 24
"""Pixels that whatever is pressed has at least, each way: WCAG 2.2, 2.5.8 (AA)."""
NARROW = 900
"""Pixels at scale 1: in a narrower window columns stand one below the other."""


def scale_of(window: QWidget) -> float:
    """How much larger texts are than in a window of the base size: they grow with the window, and as a person wants
    them, to `LARGEST` at most; what has no room then scrolls."""
    return min(room_of(window) * text_size.factor, LARGEST)


def room_of(window: QWidget) -> float:
    """The same without what a person wants, for what fills its window anyhow."""
    return max(min(window.height() / BASE_HEIGHT, window.width() / BASE_WIDTH, LARGEST), SMALLEST)


def pixel_font(pixels: float, *, bold: bool = False) -> QFont:
    """The application's font at a size in pixels."""
    font = QFont()
    font.setPixelSize(max(round(pixels), 6))
    font.setBold(bold)
    return font


def add_key(button: QAbstractButton, keys: str) -> None:
    """A key that presses the button at once, while it can be seen. (A button's own shortcut waits for an animation.)"""
    QShortcut(QKeySequence(keys), button).activated.connect(button.click)


class ElidedLabel(QLabel):
    """A label that shortens its text in the middle instead of pushing the window wider; the tooltip has it all."""

    def __init__(self, text: str = "") -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Preferred)
        self.show_text(text)

    def show_text(self, text: str) -> None:
        self.setText(text)
        self.setToolTip(text)

    def minimumSizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        return QSize(0, super().minimumSizeHint().height())

    def paintEvent(self, event: QPaintEvent) -> None:  # noqa: N802 – Qt names it
        text = self.fontMetrics().elidedText(self.text(), Qt.TextElideMode.ElideMiddle, self.width())
        painter = QPainter(self)
        painter.setPen(self.palette().windowText().color())
        painter.drawText(self.rect(), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, text)
        painter.end()


class MessageLine(QFrame):
    """The newest notice or fault, on as many lines as it takes. Keeps its height when empty, so that nothing jumps."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        super().__init__()
        self.setObjectName("message")
        self._clock = clock
        self._until_s = 0.0
        self.is_fault = False
        self.history: deque[str] = deque(maxlen=HISTORY)
        """The newest messages, oldest first."""
        self.sign = SignMark(palette.PaintedSign.DISC, palette.INK)
        self.text = QLabel()
        self.text.setWordWrap(True)
        self.dismiss = QPushButton(phrase("dismiss_button"))
        self.dismiss.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.dismiss.clicked.connect(self.clear)
        row = QHBoxLayout(self)
        row.setContentsMargins(10, 3, 6, 3)
        for widget in (self.sign, self.text, self.dismiss):
            row.addWidget(widget, 1 if widget is self.text else 0)
        self.clear()
        look.changed.connect(self._restyle)

    def _restyle(self) -> None:
        text = self.text.text()
        self._show(text, palette.FAULT if self.is_fault else palette.notice_look() if text else _nothing())

    def show_notice(self, text: str) -> None:
        """Show for a while; a fault that nobody has dismissed stays in front. An empty text shows nothing."""
        if not text:
            return
        self.history.append(text)
        if not self.is_fault:
            self._show(text, palette.notice_look())
            self._until_s = self._clock() + NOTICE_S

    def show_fault(self, text: str) -> None:
        """Show until it is dismissed."""
        self.history.append(text)
        self.is_fault = True
        self._show(text, palette.FAULT)

    def tidy(self) -> None:
        """Take away a notice whose time is up."""
        if not self.is_fault and self.text.text() and self._clock() >= self._until_s:
            self.clear()

    def clear(self) -> None:
        self.is_fault = False
        self._show("", _nothing())

    def _show(self, text: str, shown: palette.Look) -> None:
        self.text.setText(text)
        self.text.setToolTip("\n".join(self.history))
        self.sign.show_sign(shown.sign, shown.ink)
        self.sign.setVisible(bool(text))
        self.dismiss.setVisible(bool(text))
        self.setStyleSheet(
            f"#message {{ background: {shown.ground}; border-radius: 4px; }}"
            f"#message QLabel {{ color: {shown.ink}; background: transparent; }}"
        )

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        self.setMinimumHeight(round(30 * scale))
        self.sign.setFixedSize(round(14 * scale), round(14 * scale))
        self.dismiss.setMinimumHeight(TARGET)
        for widget in (self.text, self.dismiss):
            widget.setFont(pixel_font(13 * scale))


def _nothing() -> palette.Look:
    return palette.Look(palette.INK, palette.GROUND, palette.PaintedSign.DISC)
