"""Walks the widgets of a screen: what is cut, what has no name, what is too small to be hit."""

from __future__ import annotations

from collections.abc import Iterator

from PySide6.QtCore import QRect, Qt
from PySide6.QtWidgets import (
    QAbstractButton,
    QAbstractItemView,
    QAbstractSlider,
    QAbstractSpinBox,
    QComboBox,
    QHeaderView,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QScrollArea,
    QScrollBar,
    QSizePolicy,
    QWidget,
)

from imufeedback.app.labels import ElidedLabel

FIELDS = (
    QAbstractButton, QComboBox, QLineEdit, QPlainTextEdit, QAbstractSpinBox, QAbstractSlider, QAbstractItemView,
)  # fmt: skip
TARGET_PX = 24
"""WCAG 2.2, 2.5.8 (AA)."""


def seen(screen: QWidget) -> Iterator[QWidget]:
    """Every widget that is shown, but scroll bars and the insides of fields."""
    for one in screen.findChildren(QWidget):
        inside = isinstance(one.parent(), (QAbstractSpinBox, QComboBox)) or isinstance(one, (QScrollBar, QHeaderView))
        if one.isVisible() and not inside and not one.objectName().startswith("qt_"):
            yield one


def cut(screen: QWidget) -> list[str]:
    """Texts that have less room than they need. A path may be shortened: its tooltip has it all."""
    return [told for one in seen(screen) if (told := _cut(one))]


def _cut(one: QWidget) -> str:
    parent = one.parentWidget()
    if isinstance(one, ElidedLabel):
        return "" if one.text() in one.toolTip() else f"no tooltip: {one.text()}"
    if isinstance(one, QLabel) and one.text():
        flags = Qt.TextFlag.TextWordWrap if one.wordWrap() else Qt.TextFlag.TextSingleLine
        room = one.contentsRect()
        if "\n" in one.text():
            flags = Qt.TextFlag.TextWordWrap
        need = one.fontMetrics().boundingRect(
            QRect(0, 0, room.width(), 100_000), int(flags), one.text().replace("&", "")
        )
        if one.sizePolicy().verticalPolicy() is QSizePolicy.Policy.Ignored:  # sized by its room: the ink counts
            need = one.fontMetrics().tightBoundingRect(one.text())
        if need.width() > room.width() + 2 or need.height() > room.height() + 3:
            return f"{one.text()!r} needs {need.width()}×{need.height()}, has {room.width()}×{room.height()}"
    if isinstance(one, QAbstractButton) and one.text():
        need = one.sizeHint()
        if need.width() > one.width() + 1 or need.height() > 1.12 * one.height():
            return f"button {one.text()!r} needs {need.width()}×{need.height()}, has {one.width()}×{one.height()}"
    scrolls = parent is not None and isinstance(parent.parentWidget(), QScrollArea)
    if not isinstance(one, (QLabel, QAbstractButton)) or parent is None or scrolls:
        return ""
    inside = parent.rect().adjusted(-2, -2, 2, 2).contains(one.geometry())
    return "" if inside else f"{one.text()!r} at {one.geometry().getRect()} outside of {parent.rect().getRect()}"


def fields(screen: QWidget) -> list[QWidget]:
    """What can be worked."""
    return [one for one in seen(screen) if isinstance(one, FIELDS)]


def nameless(screen: QWidget) -> list[str]:
    """Fields of which a screen reader can say nothing."""
    buddies = {id(label.buddy()) for label in screen.findChildren(QLabel) if label.buddy() is not None}
    return [
        f"{type(one).__name__} {one.objectName()}"
        for one in fields(screen)
        if not (one.accessibleName() or getattr(one, "text", lambda: "")() or id(one) in buddies)
    ]


def small(screen: QWidget) -> list[str]:
    """Fields that are hard to hit."""
    return [
        f"{type(one).__name__} {one.accessibleName()}: {one.width()}×{one.height()}"
        for one in fields(screen)
        if min(one.width(), one.height()) < TARGET_PX
    ]


def unreachable(screen: QWidget) -> list[str]:
    """Fields that Tab never comes to, though they take the keyboard."""
    ring, one = set(), screen.nextInFocusChain()
    while one is not None and id(one) not in ring:
        ring.add(id(one))
        one = one.nextInFocusChain()
    return [
        f"{type(one).__name__} {one.accessibleName()}"
        for one in fields(screen)
        if one.focusPolicy() & Qt.FocusPolicy.TabFocus and id(one) not in ring
    ]
