"""The usual cautions: the first screen, acknowledged before anything else, and a dialog that is always in reach."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QDialog, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font
from imufeedback.constants import CAUTIONS
from imufeedback.phrases import phrase

WIDTH = 840
"""Pixels at scale 1; wider lines are hard to read."""

_AGREE_KEYS = (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space)


class CautionsPage(QWidget):
    """The cautions and one button. Enter and Space press it."""

    acknowledged = Signal()

    def __init__(self, button: str) -> None:
        super().__init__()
        self.title = QLabel(phrase("cautions_title"))
        self.lines = [QLabel(line) for line in CAUTIONS]
        self.button = QPushButton(button)
        self.button.setObjectName("agree")
        self.button.setStyleSheet(
            f"#agree {{ background: {palette.BLUE}; color: {palette.WHITE}; border-radius: 6px; padding: 10px 28px; }}"
        )
        self.button.clicked.connect(self.acknowledged)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self._arrange()
        self.rescale(1.0)

    def _arrange(self) -> None:
        # The column is as high as the page: a wrapped label only gets its full height from a layout that can grow.
        self._column = QWidget()
        self._inner = QVBoxLayout(self._column)
        self._inner.addStretch(1)
        self._inner.addWidget(self.title)
        for line in self.lines:
            line.setWordWrap(True)
            self._inner.addWidget(line)
        self._inner.addSpacing(8)
        self._inner.addWidget(self.button, 0, Qt.AlignmentFlag.AlignLeft)
        self._inner.addStretch(1)
        outer = QHBoxLayout(self)
        outer.addStretch(1)
        outer.addWidget(self._column, 1000)
        outer.addStretch(1)

    def keyPressEvent(self, event: QKeyEvent) -> None:  # noqa: N802 – Qt names it
        if event.key() in _AGREE_KEYS:
            self.button.click()
        else:
            super().keyPressEvent(event)

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""
        self._column.setMaximumWidth(round(WIDTH * scale))
        self._inner.setSpacing(round(14 * scale))
        self.title.setFont(pixel_font(30 * scale, bold=True))
        for line in self.lines:
            line.setFont(pixel_font(18 * scale))
        self.button.setFont(pixel_font(18 * scale, bold=True))


class CautionsDialog(QDialog):
    """The same page over a running session, which goes on behind it."""

    def __init__(self, parent: QWidget, scale: float) -> None:
        super().__init__(parent)
        self.setWindowTitle(phrase("cautions_title"))
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        page = CautionsPage(phrase("close_button"))
        page.rescale(scale)
        page.acknowledged.connect(self.accept)
        QVBoxLayout(self).addWidget(page)
