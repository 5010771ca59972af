"""A picture that runs from right to left by whole pixels: what stands on it moves on, and only its end is painted anew.

It holds what runs alone, on a clear ground; what stands still is painted by its owner, below and above.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from PySide6.QtCore import QRect, QSize, Qt
from PySide6.QtGui import QPainter, QPixmap

OVER_PX = 3
"""A line reaches so far beyond its points, at least."""


class RunningPicture:
    """One picture with some rooms, all as wide, which run alike."""

    def __init__(self) -> None:
        self._picture = QPixmap()
        self._rooms: list[QRect] = []
        self._at = 0
        self._settled = 0

    def forget(self) -> None:
        """Next time everything is painted."""
        self._rooms = []

    def at(
        self,
        now: int,
        settled: int,
        rooms: Sequence[QRect],
        size: QSize,
        ratio: int,
        paint: Callable[[QPainter, QRect], None],
    ) -> QPixmap:
        """The picture at a time. Times are pixels of the screen since any moment, `ratio` of them one of the window.

        Args:
            now: what stands at the right edge of the rooms.
            settled: what has been given up to here stays as it is.
            rooms: in the window's pixels.
            size: of the whole, likewise.
            ratio: the screen's pixels to the window's.
            paint: paints all that touches a rectangle, in the window's pixels; it is clear before.
        """
        by, fresh = now - self._at, (now - self._settled) // ratio + OVER_PX + 1
        whole = not rooms or by < 0 or fresh >= rooms[0].width() or list(rooms) != self._rooms
        if whole or self._picture.size() != size * ratio:
            self._picture = QPixmap(size * ratio)
            self._picture.setDevicePixelRatio(ratio)
            self._picture.fill(Qt.GlobalColor.transparent)
            parts = list(rooms)
        else:
            for room in rooms if by else ():
                self._picture.scroll(-by, 0, QRect(room.topLeft() * ratio, room.size() * ratio))
            parts = [room.adjusted(room.width() - fresh, 0, 0, 0) for room in rooms]
        painter = QPainter(self._picture)
        for part in parts:
            painter.setClipRect(part)
            painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_Source)
            painter.fillRect(part, Qt.GlobalColor.transparent)
            painter.setCompositionMode(QPainter.CompositionMode.CompositionMode_SourceOver)
            paint(painter, part)
        painter.end()
        self._at, self._settled, self._rooms = now, settled, list(rooms)
        return self._picture
