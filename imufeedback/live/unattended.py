"""A session that nobody looks at: what the windows do by keys happens by itself. No Qt, no clock.

The calibration begins at once, and again when it was refused; then come the blocks in their order, each with its reps.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from imufeedback.commands import AnyCommand, BeginBlock, BeginFit, CancelFit, SetFit
from imufeedback.records import Event, FitRefused, Fitted, Rep, SwapOffered


@dataclass(frozen=True, slots=True)
class Stint:
    """The command that begins a block, and how many reps it has (None: as many as one likes)."""

    command: BeginBlock
    reps: int | None = None


class Unattended:
    """A sink of a practice that also gives its commands. `over` is set when all blocks are done."""

    def __init__(self, stints: Sequence[Stint], on_fitted: Callable[[Fitted], None] = lambda event: None) -> None:
        """`on_fitted` hears of every calibration that was performed, in the session's thread."""
        self.over = threading.Event()
        self._stints = tuple(stints)
        self._on_fitted = on_fitted
        self._command: Callable[[AnyCommand], None] = lambda command: None
        self._number: int | None = None
        self._reps = 0

    def begin(self, command: Callable[[AnyCommand], None], stored: SetFit | None = None) -> None:
        """The session runs; `command` is the practice's. With a stored calibration no movements are waited for."""
        self._command = command
        command(BeginFit() if stored is None else stored)

    def __call__(self, events: list[Event]) -> None:
        for event in events:
            self._hear(event)

    def _hear(self, event: Event) -> None:
        match event:
            case Fitted():
                if not event.stored:
                    self._on_fitted(event)
                if self._number is None:
                    self._number = -1
                    self._go_on()
            case FitRefused():
                self._command(BeginFit())
            case SwapOffered():
                # Nobody is there to answer: the list of sensors stays as it is, and the movements are asked for again.
                self._command(CancelFit())
                self._command(BeginFit())
            case Rep() if self._number is not None and not event.void:
                self._reps += 1
                self._go_on()

    def _go_on(self) -> None:
        """Begin the next block when the present one has its reps."""
        assert self._number is not None
        if self._number >= 0:
            wanted = self._stints[self._number].reps if self._number < len(self._stints) else None
            if wanted is None or self._reps < wanted:
                return
        self._number, self._reps = self._number + 1, 0
        if self._number < len(self._stints):
            self._command(self._stints[self._number].command)
        elif self._stints:
            self.over.set()
