"""Why there is each way of being told, with its source: for the coach, in a small window."""

from __future__ import annotations

from html import escape

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QMessageBox, QWidget

from imufeedback.app import words
from imufeedback.app.labels import pixel_font
from imufeedback.cues.feedback import ESTIMATE, FADED_SHARES, PURPOSES, Purpose
from imufeedback.phrases import phrase


def show_purposes(parent: QWidget, scale: float) -> None:
    """Open it; it goes when it is closed."""
    box = QMessageBox(QMessageBox.Icon.NoIcon, phrase("purposes_action"), purposes_text(), parent=parent)
    box.setFont(pixel_font(15 * scale))
    box.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    box.open()


def purposes_text() -> str:
    """Every mode, what it is for and who found that."""
    parts = [_part(words.mode_word(mode), purpose) for mode, purpose in PURPOSES.items()]
    shares = ", ".join(f"{100 * one:.0f}" for one in FADED_SHARES)
    return "".join(
        [*parts, _part(phrase("estimate_word"), ESTIMATE), f"<p>{escape(phrase('faded_by_block', shares=shares))}</p>"]
    )


def _part(title: str, purpose: Purpose) -> str:
    return f"<p><b>{escape(title)}</b><br>{escape(purpose.use)}<br><i>{escape(purpose.source)}</i></p>"
