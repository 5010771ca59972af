"""A block that begins, said large over whatever is shown, and gone by itself."""

from __future__ import annotations

from PySide6.QtCore import Qt, QTimer
from PySide6.QtWidgets import QLabel, QWidget

from imufeedback.app import palette
from imufeedback.app.labels import pixel_font

SHOWN_MS = 5000
"""Long enough to look up after the sound. Chosen."""


class Banner(QLabel):
    """Two lines across the middle of `over`; the mouse and the keys go through it."""

    def __init__(self, over: QWidget) -> None:
        super().__init__(over)
        self._over = over
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.setWordWrap(True)
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setObjectName("banner")
        self._leaving = QTimer(self)
        self._leaving.setSingleShot(True)
        self._leaving.setInterval(SHOWN_MS)
        self._leaving.timeout.connect(self.hide)
        self.hide()

    def say(self, text: str) -> None:
        """For five seconds."""
        width, height = self._over.width(), self._over.height()
        self.setStyleSheet(f"#banner {{ background: {palette.INK}; color: {palette.PAPER}; padding: 12px; }}")
        self.setText(text)
        self.setAccessibleName(text)
        self.setFont(pixel_font(max(0.075 * height, 18), bold=True))
        self.setGeometry(0, round(0.3 * height), width, round(0.4 * height))
        self.raise_()
        self.show()
        self._leaving.start()
