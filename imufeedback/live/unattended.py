"""A session that nobody looks at: what the windows do by keys happens by itself. No Qt, no clock.

The calibration begins at once, and again when it was refused; then come the blocks in their order, each with its reps
or its steps (`Lesson`).
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence

from imufeedback.commands import AnyCommand, BeginFit, CancelFit, SetFit
from imufeedback.live.lesson import ANSWER_S, Lesson, LessonBlock
from imufeedback.records import Event, FitRefused, Fitted, SwapOffered


class Unattended:
    """A sink of a practice that also gives its commands. `over` is set when all blocks are done."""

    def __init__(self, blocks: Sequence[LessonBlock], on_fitted: Callable[[Fitted], None] = lambda event: None) -> None:
        """`on_fitted` hears of every calibration that was performed, in the session's thread."""
        self.over = threading.Event()
        self._blocks = tuple(blocks)
        self._on_fitted = on_fitted
        self._command: Callable[[AnyCommand], None] = lambda command: None
        self._lesson: Lesson | None = None

    def begin(self, command: Callable[[AnyCommand], None], stored: SetFit | None = None) -> None:
        """The session runs; `command` is the practice's. With a stored calibration no movements are waited for."""
        self._command = command
        self._lesson = Lesson(self._blocks, command, wait_s=ANSWER_S, at_fit=True)
        command(BeginFit() if stored is None else stored)

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            self._hear(event)

    def _hear(self, event: Event) -> None:
        match event:
            case Fitted(stored=False):
                self._on_fitted(event)
            case FitRefused():
                self._command(BeginFit())
            case SwapOffered():
                # Nobody is there to answer: the list of sensors stays as it is, and the movements are asked for again.
                self._command(CancelFit())
                self._command(BeginFit())
        if self._lesson is not None:
            self._lesson.hear(event)
            if self._lesson.over:
                self.over.set()
