"""Sensors in reach that are not this player's, or not yet: left alone until somebody points at one."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QLabel,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QSizePolicy,
    QSpacerItem,
    QVBoxLayout,
    QWidget,
)

from imufeedback.app.labels import add_key
from imufeedback.app.start import texts
from imufeedback.phrases import phrase


class OthersPanel(QWidget):
    """A line with how many there are, and on demand the list to choose from."""

    take_wanted = Signal(list)
    """Addresses."""
    blink_wanted = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self.toggle = QPushButton()
        self.toggle.setCheckable(True)
        add_key(self.toggle, "Ctrl+L")
        self.hint = QLabel()
        self.hint.setWordWrap(True)
        self.list = QListWidget()
        self.list.setAccessibleName(phrase("start.others_name"))
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.list.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerItem)
        self.mine = QPushButton(phrase("start.mine_button"))
        add_key(self.mine, "Ctrl+M")
        self.blink = QPushButton(phrase("start.blink_button"))
        add_key(self.blink, "Ctrl+B")
        self._busy = False
        self._arrange()
        self.toggle.toggled.connect(self._show_list)
        self.list.itemSelectionChanged.connect(self._enable)
        self.mine.clicked.connect(lambda: self.take_wanted.emit(self.chosen))
        self.blink.clicked.connect(self._blink_first)
        self.show_others([], ask=False)

    def _arrange(self) -> None:
        buttons = QHBoxLayout()
        buttons.addWidget(self.mine)
        buttons.addWidget(self.blink)
        buttons.addStretch(1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(8)
        column.addWidget(self.toggle, 0, Qt.AlignmentFlag.AlignLeft)
        column.addWidget(self.hint)
        column.addWidget(self.list, 1)
        column.addLayout(buttons)
        column.addSpacerItem(QSpacerItem(0, 0, vData=QSizePolicy.Policy.Expanding))  # while the list is folded

    @property
    def chosen(self) -> list[str]:
        """Addresses of the marked ones, strongest first."""
        rows = sorted(self.list.row(item) for item in self.list.selectedItems())
        return [str(self.list.item(row).data(Qt.ItemDataRole.UserRole)) for row in rows]

    def show_others(self, others: Sequence[tuple[str, str]], *, ask: bool) -> None:
        """(address, words) of each, strongest first; with `ask` the question which of them are this player's is put."""
        marked = set(self.chosen)
        self.list.clear()
        for address, words in others:
            item = QListWidgetItem(words)
            item.setData(Qt.ItemDataRole.UserRole, address)
            self.list.addItem(item)
            item.setSelected(address in marked)
        self.hint.setText(texts.which_are_yours(ask))
        self.toggle.setText(texts.others_button(len(others)))
        self.setVisible(bool(others))
        self.toggle.setChecked(bool(others) and (ask or self.toggle.isChecked()))
        self._show_list(self.toggle.isChecked())

    def set_busy(self, busy: bool) -> None:
        """While the radio works nothing else can be asked of it."""
        self._busy = busy
        self._enable()

    def focus(self) -> bool:
        """Take the keyboard if there is something to choose."""
        if self.list.isHidden() or not self.isVisible():
            return False
        if not self.list.selectedItems():
            self.list.setCurrentRow(0, self.list.selectionModel().SelectionFlag.NoUpdate)
        self.list.setFocus()
        return True

    def _show_list(self, shown: bool) -> None:
        for widget in (self.hint, self.list, self.mine, self.blink):
            widget.setVisible(shown)
        self._enable()

    def _blink_first(self) -> None:
        """One light at a time tells which sensor it is."""
        self.blink_wanted.emit(self.chosen[0])

    def _enable(self) -> None:
        count = len(self.list.selectedItems())
        self.mine.setEnabled(count > 0 and not self._busy)
        self.blink.setEnabled(count == 1 and not self._busy)

    def refont(self, font: QFont) -> None:
        for widget in (self.toggle, self.hint, self.list, self.mine, self.blink):
            widget.setFont(font)
        self.list.setMinimumHeight(round(font.pixelSize() * 4.5))
