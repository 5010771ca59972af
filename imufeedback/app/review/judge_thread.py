"""Judging in a thread of its own: the window stays quick, and what goes wrong is told in it."""

from __future__ import annotations

import threading
from pathlib import Path

from PySide6.QtCore import QObject, Signal

from imufeedback.errors import ImuFeedbackError
from imufeedback.review.reporting import Judgement, judgement


class _Dropped(Exception):
    """Another session was chosen meanwhile."""


class JudgeThread(QObject):
    """One judgement at a time; a newer wish drops the one before. Signals arrive in the thread of their receiver."""

    done = Signal(object)
    failed = Signal(str)
    progress = Signal(float)

    def __init__(self, work: Path) -> None:
        super().__init__()
        self._work = work
        self._wish = 0
        self._threads: list[threading.Thread] = []

    def ask(self, path: Path, rule_set: str | None = None) -> None:
        """Judge this one, with the text of another rule set when it is given."""
        self._wish += 1
        thread = threading.Thread(target=self._run, args=(self._wish, path, rule_set), name="judge", daemon=True)
        self._threads = [one for one in self._threads if one.is_alive()] + [thread]
        thread.start()

    def stop(self) -> None:
        """Drop what runs, and wait for it."""
        self._wish += 1
        for one in self._threads:
            one.join(10.0)

    def _run(self, wish: int, path: Path, rule_set: str | None) -> None:
        def on_progress(seconds: float) -> None:
            if wish != self._wish:
                raise _Dropped
            self.progress.emit(seconds)

        try:
            found: Judgement = judgement(path, self._work, keep=True, rule_set=rule_set, on_progress=on_progress)
        except _Dropped:
            return
        except ImuFeedbackError as error:
            self.failed.emit(str(error))
        except Exception as error:  # noqa: BLE001 - a thread has nobody to raise to: the window tells it
            self.failed.emit(f"{type(error).__name__}: {error}")
        else:
            if wish == self._wish:
                self.done.emit(found)
