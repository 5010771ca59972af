"""Keys that a screen answers to, and those that the table tells of."""

from __future__ import annotations

from PySide6.QtGui import QAction, QKeySequence, QShortcut
from PySide6.QtWidgets import QAbstractButton, QWidget

from imufeedback.app import keys
from imufeedback.app.keys import Screen


def answered(widget: QWidget) -> set[str]:
    """Every key that something in this widget answers to."""
    found: list[QKeySequence] = [one.key() for one in widget.findChildren(QShortcut)]
    for action in widget.findChildren(QAction):
        found += action.shortcuts()
    found += [one.shortcut() for one in widget.findChildren(QAbstractButton)]
    return {one.toString() for one in found if not one.isEmpty()}


def told(*screens: Screen) -> set[str]:
    return {QKeySequence(spelt).toString() for screen in screens for one in keys.on(screen) for spelt in one.keys}
