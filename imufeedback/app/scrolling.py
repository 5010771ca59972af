"""Pages that scroll when their texts are larger than the window, so that nothing is ever cut."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QBoxLayout, QFrame, QScrollArea, QSizePolicy, QStackedWidget, QWidget


class Pages(QStackedWidget):
    """A stack that asks for the room of the page that is shown, with the height that its lines need at its width."""

    def __init__(self) -> None:
        super().__init__()
        self.currentChanged.connect(lambda _: self.updateGeometry())

    def minimumSizeHint(self) -> QSize:  # noqa: N802 – Qt names it
        page = self.currentWidget()
        return QSize() if page is None else needed(page, self.width())

    def heightForWidth(self, width: int) -> int:  # noqa: N802 – Qt names it
        page = self.currentWidget()
        return 0 if page is None else needed(page, width).height()


def needed(page: QWidget, width: int) -> QSize:
    """The least room of a page at a width."""
    least, layout = page.minimumSizeHint().expandedTo(page.minimumSize()), page.layout()
    if layout is not None and layout.hasHeightForWidth():
        least.setHeight(max(least.height(), layout.minimumHeightForWidth(max(width, least.width()))))
    return least


def fold(row: QBoxLayout, *, narrow: bool) -> None:
    """What stands side by side stands one below the other where there is no room."""
    row.setDirection(QBoxLayout.Direction.TopToBottom if narrow else QBoxLayout.Direction.LeftToRight)


def scrolled(pages: QWidget) -> QScrollArea:
    """The pages in a frame that scrolls. It takes no keys of its own: Tab brings what it goes to into view."""
    area = QScrollArea()
    area.setWidget(pages)
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    area.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
    return area
