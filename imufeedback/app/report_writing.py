"""Writes the report of a recording beside it, in a thread: judging a long recording again takes a while."""

from __future__ import annotations

import threading
from pathlib import Path

from PySide6.QtCore import QObject, Qt, QUrl, Signal
from PySide6.QtGui import QDesktopServices

from imufeedback.errors import ImuFeedbackError


class ReportWriter(QObject):
    """`written` tells where the report is and what went wrong; one of the two is empty. It is opened by itself."""

    written = Signal(str, str)
    _done = Signal(str, str)

    def __init__(self, parent: QObject) -> None:
        super().__init__(parent)
        self.busy = False
        self._done.connect(self._tell, Qt.ConnectionType.QueuedConnection)

    def write(self, recording: Path) -> None:
        """One at a time; a wish while one is written is dropped."""
        if not self.busy:
            self.busy = True
            threading.Thread(target=self._write, args=(recording,), name="report", daemon=True).start()

    def _write(self, recording: Path) -> None:
        from imufeedback.record.files import whole_file
        from imufeedback.record.unfinished import scratch_folder
        from imufeedback.report.page import session_page
        from imufeedback.review.reporting import judgement, session_of

        out = recording.with_suffix(".html")
        try:
            with scratch_folder("report") as folder:
                text = session_page(session_of(judgement(recording, folder, keep=True)))
            with whole_file(out, overwrite=True) as page:
                page.write(text)
        except (ImuFeedbackError, OSError) as error:
            self._done.emit("", str(error))
        else:
            self._done.emit(str(out), "")

    def _tell(self, where: str, trouble: str) -> None:
        self.busy = False
        self.written.emit(where, trouble)
        if where:
            QDesktopServices.openUrl(QUrl.fromLocalFile(where))
