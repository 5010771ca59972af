"""The sound of a film, decoded by Qt beside the window's work, as loudness of each millisecond."""

from __future__ import annotations

from typing import Any

import numpy as np
from PySide6.QtCore import QObject, QUrl, Signal

from imufeedback.app.review.strikes import Loudness

RATE_HZ = 16_000
"""What is asked for: a strike has its sound below 8 kHz, and an hour is read in a minute."""
FULL_SCALE = 32768.0


class FilmSound(QObject):
    """`read` begins; `heard` tells the loudness (N,) in dB, or `failed` in one line why there is none."""

    heard = Signal(object)
    failed = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._decoder: Any = None
        self._wanted = False
        self._loudness = Loudness(RATE_HZ)

    def read(self, path: str) -> None:
        if self._decoder is None:
            self._decoder = self._make()
        self.stop()
        self._loudness, self._wanted = Loudness(RATE_HZ), True
        self._decoder.setSource(QUrl.fromLocalFile(path))
        self._decoder.start()

    def _make(self) -> Any:
        from PySide6.QtMultimedia import QAudioDecoder, QAudioFormat

        wanted = QAudioFormat()
        wanted.setSampleRate(RATE_HZ)
        wanted.setChannelCount(1)
        wanted.setSampleFormat(QAudioFormat.SampleFormat.Int16)
        decoder = QAudioDecoder(self)
        decoder.setAudioFormat(wanted)
        decoder.bufferReady.connect(self._take)
        decoder.finished.connect(self._over)
        decoder.error.connect(lambda *_: self._fail())
        return decoder

    def stop(self) -> None:
        """Nothing more is told of a film that was read before."""
        self._wanted = False
        if self._decoder is not None:
            self._decoder.stop()

    def _take(self) -> None:
        samples = np.frombuffer(self._decoder.read().data(), dtype=np.int16)
        self._loudness.add(samples / FULL_SCALE)

    def _over(self) -> None:
        levels_db = self._loudness.levels_db
        if self._wanted:
            self._wanted = False
            self.heard.emit(levels_db)

    def _fail(self) -> None:
        if self._wanted:
            self._wanted = False
            self.failed.emit(self._decoder.errorString())
