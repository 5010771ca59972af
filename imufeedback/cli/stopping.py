"""Ctrl-C, termination and a terminal that goes away: each ends a verb in order, wherever it is.

The first one raises `ProgramStopped` in the main thread, so that every ``with`` and ``finally`` on the way closes what
it has opened. Later ones are passed over: nothing may interrupt the closing. What was open is closed at the very end
all the same (`close_what_is_open`), for a signal that came in the middle of an opening or a closing.
"""

from __future__ import annotations

import signal
import sys
import threading
from types import FrameType
from typing import Any

from imufeedback.first_moment import stop_at_once

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
"""Windows has no SIGHUP; others have no SIGBREAK, which Windows sends when a console is closed."""
_TAKEN = (signal.SIG_DFL, signal.default_int_handler, stop_at_once)
"""A signal that is ignored (``nohup``, a job in the background of a script) stays so."""


class ProgramStopped(KeyboardInterrupt):
    """The program was asked to end. A KeyboardInterrupt, so that libraries let it pass as they do Ctrl-C."""


class Signals:
    """The handlers of one run; nothing outside of the main thread, which alone may have them."""

    def __init__(self) -> None:
        self.received: int | None = None
        """Number of the first signal; None while there was none."""
        self._begun = False
        self._before: dict[int, Any] = {}
        for number in (getattr(signal, name) for name in _NAMES if hasattr(signal, name)):
            if threading.current_thread() is threading.main_thread() and signal.getsignal(number) in _TAKEN:
                self._before[number] = signal.signal(number, self._take)

    @property
    def status(self) -> int | None:
        """Exit status after a signal, as shells give it; None while there was none."""
        return None if self.received is None else 128 + self.received

    def begin(self) -> None:
        """From now on something may be open, and is closed in order; before, a signal ends the process at once."""
        self._begun = True

    def close(self, *, ends_process: bool) -> None:
        """Close what is still open, undisturbed. Then signals do what they did before; in a process that ends, they end
        it at once."""
        self._set(signal.SIG_IGN)
        close_what_is_open()
        for number, handler in self._before.items():
            signal.signal(number, stop_at_once if ends_process else handler)

    def _set(self, handler: Any) -> None:
        for number in self._before:
            signal.signal(number, handler)

    def _take(self, number: int, frame: FrameType | None) -> None:
        if not self._begun:
            stop_at_once(number, frame)
        if self.received is None:
            self.received = number
            raise ProgramStopped(number)


def close_what_is_open() -> None:
    """Recordings that are being written, and temporary files and folders. Imports nothing: what was not needed is not
    open."""
    for module, close in (("imufeedback.record.journal", "close_all"), ("imufeedback.record.unfinished", "sweep")):
        if module in sys.modules:
            getattr(sys.modules[module], close)()
