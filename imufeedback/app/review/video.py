"""A film beside the trace, lined up by the sound of impact, by dragging or by one instant, and played along. Nothing is
edited and nothing is sent.

Qt's multimedia part is large and comes only with the extra ``video``; without it the panel says how to get it.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from PySide6.QtCore import QUrl, Signal
from PySide6.QtWidgets import QDoubleSpinBox, QFileDialog, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from imufeedback.app.review.film_sound import FilmSound
from imufeedback.app.review.film_strip import FilmStrip
from imufeedback.app.review.strikes import line_up, strikes
from imufeedback.phrases import phrase
from imufeedback.records import Floats

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
        self.by_sound = QPushButton(phrase("film_by_sound"))
        self.by_sound.setToolTip(phrase("film_by_sound_hint"))
        self.strip = FilmStrip()
        self._sound = FilmSound()
        self._impacts_s: list[float] = []
        self._shown_s = 0.0
        self.offset = QDoubleSpinBox()
        self.offset.setRange(-36000, 36000)
        self.offset.setDecimals(2)
        self.offset.setSingleStep(0.02)
        self.offset.setSuffix(" s")
        self.offset.setToolTip(phrase("review.session_time_at_which_the"))
        self._column = QVBoxLayout(self)
        self._column.setContentsMargins(4, 0, 0, 0)
        self._column.addWidget(self.words, 1)
        self._column.addWidget(self.strip)
        for parts in ((self.choose, self.by_sound), (self.tie, self.offset)):
            row = QHBoxLayout()
            for part in parts:
                row.addWidget(part)
            self._column.addLayout(row)
        self.choose.clicked.connect(lambda *_: self._ask())
        self.tie.clicked.connect(lambda *_: self._tie())
        self.by_sound.clicked.connect(lambda *_: self._listen())
        self.offset.valueChanged.connect(lambda *_: self._moved())
        self.strip.dragged.connect(lambda by_s: self.offset.setValue(self.offset.value() + by_s))
        self.strip.dropped.connect(self._keep)
        self._sound.heard.connect(self._line_up)
        self._sound.failed.connect(self._say_unheard)
        self._show_state()

    def load(self, video: Mapping[str, Any] | None) -> None:
        """Show the film that belongs to a session, or none."""
        self._path = "" if video is None else str(video["path"])
        self._sound.stop()
        self.strip.show_sound(None)
        self.offset.blockSignals(True)
        self.offset.setValue(0.0 if video is None else float(video["offset_s"]))
        self.offset.blockSignals(False)
        self.strip.show_offset(self.offset.value() if self._path else None)
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
        self.by_sound.setEnabled(bool(self._path))
        if self._path and not Path(self._path).is_file():
            self.words.setText(phrase("review.the_film_is_not_there", path=self._path))
        else:
            self.words.setText(Path(self._path).name if self._path else phrase("review.a_film_can_be_shown"))

    def _ask(self) -> None:
        path, _ = QFileDialog.getOpenFileName(self, phrase("review.film_2"))
        if path:
            self.load({"path": path, "offset_s": self._now_s})
            self.changed.emit(self._path, self.offset.value())
            self._listen()

    def show_rep(self, begin_s: float, end_s: float, impacts_s: Sequence[float], shown_s: float | None) -> None:
        """The stretch that is played, the impacts of all reps, and the one of the rep that is shown; session time."""
        self._impacts_s, self._shown_s = list(impacts_s), begin_s if shown_s is None else shown_s
        self.strip.show_stretch(begin_s, end_s, shown_s)

    def _listen(self) -> None:
        if self._path and self.can_play and Path(self._path).is_file():
            self.words.setText(phrase("film_listening"))
            self._sound.read(self._path)

    def _line_up(self, levels_db: Floats) -> None:
        """Where the strikes of the film's sound meet the impacts; says what it rests on."""
        heard = strikes(levels_db)
        self.strip.show_sound(levels_db)
        found = line_up(heard, self._impacts_s, self._shown_s)
        if found is None:
            self.words.setText(phrase("film_no_strike" if not len(heard) else "film_no_impact"))
            return
        self.offset.setValue(found.offset_s)
        key = "film_lined_up" if found.alone else "film_lined_up_by_shown"
        self.words.setText(phrase(key, met=found.met, heard=len(heard)))

    def _say_unheard(self, why: str) -> None:
        """No sound came out of it: there is none, or it could not be read."""
        self.words.setText(phrase("film_unheard", why=why.rstrip(".")))

    def _tie(self) -> None:
        """The frame that is shown and the instant in the trace are one."""
        if self._player is not None:
            self.offset.setValue(self._now_s - self._player.position() / 1000)

    def _moved(self) -> None:
        self.follow(self._now_s, None, None)
        if self._path:
            self.strip.show_offset(self.offset.value())
            self._keep()

    def _keep(self) -> None:
        """It is written down where it lies; not while it is dragged."""
        if self._path and not self.strip.held:
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
