"""A film beside the trace, lined up by one instant, played along. Nothing is edited and nothing is sent.

Qt's multimedia part is large and comes only with the extra ``video``; without it the panel says how to get it.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from PySide6.QtCore import QUrl, Signal
from PySide6.QtWidgets import QDoubleSpinBox, QFileDialog, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.phrases import phrase

LATE_MS = 80
"""The film is put right when it is further off than this."""


def available() -> bool:
    """Whether this installation can play films."""
    return importlib.util.find_spec("PySide6.QtMultimedia") is not None and _loads()


def _loads() -> bool:
    try:
        importlib.import_module("PySide6.QtMultimediaWidgets")
    except ImportError:
        return False
    return True


def how_to_get_films() -> str:
    return phrase("review.films_beside_the_trace_need")


def position_ms(now_s: float, offset_s: float) -> int:
    """Place in a film that begins at session time `offset_s`; 0 before its beginning."""
    return max(round((now_s - offset_s) * 1000), 0)


class VideoPanel(QWidget):
    """Film and its alignment. `changed` tells the path and the session time at which the film begins."""

    changed = Signal(str, float)

    def __init__(self) -> None:
        super().__init__()
        self.can_play = available()
        self._player: Any = None
        self._path = ""
        self._now_s = 0.0
        self.words = QLabel()
        self.words.setWordWrap(True)
        self.choose, self.tie = QPushButton(phrase("review.film")), QPushButton(phrase("review.this_frame_is_now"))
        self.tie.setToolTip(phrase("review.stop_the_film_at_an"))
        self.offset = QDoubleSpinBox()
        self.offset.setRange(-36000, 36000)
        self.offset.setDecimals(2)
        self.offset.setSingleStep(0.02)
        self.offset.setSuffix(" s")
        self.offset.setToolTip(phrase("review.session_time_at_which_the"))
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(4, 0, 0, 0)
        self._column.addWidget(self.words, 1)
        row = QHBoxLayout()
        for part in (self.choose, self.tie, self.offset):
            row.addWidget(part)
        self._column.addLayout(row)
        self.choose.clicked.connect(lambda *_: self._ask())
        self.tie.clicked.connect(lambda *_: self._tie())
        self.offset.valueChanged.connect(lambda *_: self._moved())
        self._show_state()

    def load(self, video: Mapping[str, Any] | None) -> None:
        """Show the film that belongs to a session, or none."""
        self._path = "" if video is None else str(video["path"])
        self.offset.blockSignals(True)
        self.offset.setValue(0.0 if video is None else float(video["offset_s"]))
        self.offset.blockSignals(False)
        if self._path and self.can_play and Path(self._path).is_file():
            self._open()
        elif self._player is not None:
            self._player.setSource(QUrl())
        self._show_state()

    def _open(self) -> None:
        if self._player is None:
            from PySide6.QtMultimedia import QMediaPlayer
            from PySide6.QtMultimediaWidgets import QVideoWidget

            self._player, screen = QMediaPlayer(self), QVideoWidget()
            self._player.setVideoOutput(screen)
            self._player.errorOccurred.connect(lambda error, text: self.words.setText(text))
            self._column.insertWidget(0, screen, 4)
        self._player.setSource(QUrl.fromLocalFile(self._path))
        self._player.pause()

    def _show_state(self) -> None:
        self.tie.setEnabled(bool(self._path))
        self.offset.setEnabled(bool(self._path))
        if self._path and not Path(self._path).is_file():
            self.words.setText(phrase("review.the_film_is_not_there", path=self._path))
        else:
            self.words.setText(Path(self._path).name if self._path else phrase("review.a_film_can_be_shown"))

    def _ask(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, phrase("review.film_2"))
        if path:
            self.load({"path": path, "offset_s": self._now_s})
            self.changed.emit(self._path, self.offset.value())

    def _tie(self) -> None:
        """The frame that is shown and the instant in the trace are one."""
        if self._player is not None:
            self.offset.setValue(self._now_s - self._player.position() / 1000)

    def _moved(self) -> None:
        self.follow(self._now_s, None, None)
        if self._path:
            self.changed.emit(self._path, self.offset.value())

    def follow(self, now_s: float, speed: float | None, running: bool | None) -> None:
        """Go where the trace is; start, stop or change speed with it (None leaves that as it is)."""
        self._now_s = now_s
        if self._player is None or not self._path:
            return
        wanted = position_ms(now_s, self.offset.value())
        if speed is not None:
            self._player.setPlaybackRate(speed)
        if abs(self._player.position() - wanted) > LATE_MS or not running:
            self._player.setPosition(wanted)
        if running is not None:
            self._player.play() if running else self._player.pause()
