"""What the keys do that work on every screen: the list of keys, the cautions, the size of the text."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QWidget

from imufeedback.app import keys
from imufeedback.app.cautions import CautionsDialog
from imufeedback.app.key_list import KeyList
from imufeedback.app.keys import Screen
from imufeedback.app.labels import scale_of
from imufeedback.app.look import look
from imufeedback.app.text_size import text_size


def common_slots(page: QWidget, screen: Screen) -> dict[str, Callable[[], object]]:
    """By the name in the table."""
    return {
        "keys": lambda: KeyList(page, scale_of(page), screen).open(),
        "cautions": lambda: CautionsDialog(page, scale_of(page)).open(),
        "larger": lambda: text_size.step(1),
        "smaller": lambda: text_size.step(-1),
        "plain": lambda: text_size.show(1.0),
        "look": look.following,
    }


def add_common_keys(page: QWidget, screen: Screen) -> None:
    """The keys work while the page can be seen."""
    slots = common_slots(page, screen)
    for one in keys.on(Screen.ANYWHERE):
        add_keys(page, one, slots[one.name])


def add_keys(page: QWidget, row: keys.Key, slot: Callable[[], object]) -> None:
    """All keys of one row of the table, while the page can be seen."""
    for spelt in row.keys:
        QShortcut(QKeySequence(spelt), page).activated.connect(slot)
