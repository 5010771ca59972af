"""The pages that explain the movement, opened in the browser: they have pictures, and can be printed."""

from __future__ import annotations

from PySide6.QtCore import QUrl
from PySide6.QtGui import QDesktopServices

from imufeedback import resources
from imufeedback.record.files import write_own
from imufeedback.records import Hand
from imufeedback.report import guides


def open_guide(name: str, hand: Hand) -> str:
    """Write the page for this hand into the data folder, and show it; where it is. Raises CannotWrite."""
    path = resources.data_folder() / "guides" / f"{name}-{hand}.html"
    write_own(path, guides.as_page(name, hand).encode())
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
    return str(path)
