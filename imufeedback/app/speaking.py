"""The menu's switch for saying each block aloud: off at first, kept for the next session."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject, QSettings, Signal
from PySide6.QtGui import QAction
from PySide6.QtWidgets import QWidget

from imufeedback import resources
from imufeedback.phrases import phrase
from imufeedback.records import Event

if TYPE_CHECKING:
    from imufeedback.audio.speech import Voice
    from imufeedback.live.spoken import Spoken


class Speaking(QObject):
    """Says what a window hears, while it is switched on."""

    _told = Signal(str)
    """From the voice's thread to the window."""

    def __init__(self, parent: QWidget, show: Callable[[str], None], *, on: bool) -> None:
        """`show` shows a line; `on` switches it on for this session."""
        super().__init__(parent)
        self._told.connect(show)
        self._voice: Voice | None = None
        self._spoken: Spoken | None = None
        self.action = QAction(phrase("speak_action"), parent)
        self.action.setCheckable(True)
        self.action.toggled.connect(self._switch)
        self.action.triggered.connect(lambda checked: _kept().setValue(_ON, checked))
        self.action.setChecked(on or _kept().value(_ON, False, type=bool) is True)

    def hear(self, event: Event) -> None:
        if self._spoken is not None and self.action.isChecked():
            self._spoken.hear(event)

    def close(self) -> None:
        """No more is said; a sentence that has begun is not waited for."""
        if self._voice is not None:
            self._voice.close(wait_s=0.0)

    def _switch(self, on: bool) -> None:
        if on and self._voice is None:
            from imufeedback.audio.speech import Voice  # most sessions do without
            from imufeedback.live.spoken import Spoken

            self._voice = Voice(self._told.emit)
            self._spoken = Spoken(self._voice)


def _kept() -> QSettings:
    return QSettings(str(resources.data_folder() / "windows.ini"), QSettings.Format.IniFormat)


_ON = "speech/on"
