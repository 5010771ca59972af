"""The range view in a window of its own: on the second screen where there is one."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QVBoxLayout, QWidget

from imufeedback.app.common_keys import add_keys
from imufeedback.app.keys import Screen, key
from imufeedback.app.labels import BASE_HEIGHT, BASE_WIDTH
from imufeedback.app.range_view import RangeView
from imufeedback.phrases import phrase
from imufeedback.records import Hand


class RangeWindow(QWidget):
    """Shows what it is told; R, F11 and Esc: close, full screen."""

    def __init__(self, side: str, hand: Hand) -> None:
        super().__init__(None, Qt.WindowType.Window)
        self.view = RangeView(side, hand)
        self.setWindowTitle(phrase("range_title"))
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.view)
        self.resize(BASE_WIDTH, BASE_HEIGHT)
        add_keys(self, key(Screen.RANGE, "close"), self.hide)
        add_keys(self, key(Screen.RANGE, "full"), self.toggle_full)

    def toggle_full(self) -> None:
        self.showNormal() if self.isFullScreen() else self.showFullScreen()

    def show_there(self, beside: QWidget) -> None:
        """On another screen than `beside`, filling it; on the same one as a window that can be moved."""
        other = next((one for one in QGuiApplication.screens() if one is not beside.screen()), None)
        if other is None:
            self.show()
        else:
            self.setGeometry(other.geometry())
            self.showFullScreen()
        self.raise_()
