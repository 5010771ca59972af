"""The list of keys on F1: those of the screen that is shown first, then those that work everywhere, then the rest."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLabel, QScrollArea, QSizePolicy, QWidget

from imufeedback.app import keys, palette, words
from imufeedback.app.dialogs import Dialog
from imufeedback.app.keys import Screen
from imufeedback.app.labels import pixel_font
from imufeedback.phrases import phrase


class KeyList(Dialog):
    """Closes by Esc; the arrow keys scroll it."""

    def __init__(self, parent: QWidget, scale: float, first: Screen) -> None:
        super().__init__(parent, scale, phrase("keys_action"), phrase("keys_hint"))
        self.rows: dict[tuple[Screen, str], QLabel] = {}
        inside = QWidget()
        self._grid = QGridLayout(inside)
        self._grid.setColumnStretch(1, 1)
        self._grid.setHorizontalSpacing(round(16 * scale))
        self._grid.setVerticalSpacing(round(4 * scale))
        others = [one for one in Screen if one not in (first, Screen.ANYWHERE)]
        for screen in (first, Screen.ANYWHERE, *others):
            self._add(screen, scale)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setAccessibleName(phrase("keys_action"))
        self.column.addWidget(area, 1)
        room = parent.window().size()
        self.resize(min(round(760 * scale), room.width()), min(round(640 * scale), room.height()))
        area.setFocus()

    def _add(self, screen: Screen, scale: float) -> None:
        head = QLabel(words.screen_word(screen))
        head.setFont(pixel_font(17 * scale, bold=True))
        head.setContentsMargins(0, round(10 * scale), 0, 0)
        self._grid.addWidget(head, self._grid.rowCount(), 0, 1, 2)
        for one in keys.on(screen):
            cap, text = QLabel(one.told), QLabel(one.text().rstrip(" …"))
            cap.setFont(pixel_font(15 * scale, bold=True))
            cap.setStyleSheet(
                f"background: {palette.PAPER}; border: 1px solid {palette.RULE_LINE};"
                " border-radius: 4px; padding: 3px 8px;"
            )
            cap.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
            cap.setAlignment(Qt.AlignmentFlag.AlignCenter)
            text.setFont(pixel_font(15 * scale))
            text.setWordWrap(True)
            text.setAccessibleName(words.key_and_text(one.told, text.text()))
            cap.setAccessibleName(one.told)
            row = self._grid.rowCount()
            self._grid.addWidget(cap, row, 0)
            self._grid.addWidget(text, row, 1)
            self.rows[screen, one.name] = text
