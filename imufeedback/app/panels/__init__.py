"""Panels at the right of the bay view, below the plot and above the table of reps. Each module here is one: a class
`Panel`, without arguments, that follows `BayPanel`.

To add one, add a file: panels stand in the order of their files' names.
"""

from __future__ import annotations

import importlib
import pkgutil

from PySide6.QtWidgets import QWidget

from imufeedback.app.tracks import Book, Choice


class BayPanel(QWidget):
    """What the bay view does with a panel, in the Qt thread; one that has nothing to do then leaves it out."""

    def show_book(self, book: Book, choice: Choice) -> None:
        """A rep came, or something is known or said about one; `choice` is what the last one is compared with."""

    def rescale(self, scale: float) -> None:
        """Fit texts to the window: 1 is a window 720 pixels high."""


def make_all() -> list[BayPanel]:
    """One of each."""
    names = sorted(module.name for module in pkgutil.iter_modules(__path__))
    return [importlib.import_module(f"{__name__}.{name}").Panel() for name in names]
