"""The ordered stop: done once, in a thread of its own, and waited for with a limit."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from imufeedback.app.uncaught import in_words

STOP_LIMIT_S = 8.0
"""More than sensors need that do not answer (`live/station.py`), and the recording after them. A stop that takes longer
is given up on: the window goes, and says that it did not wait."""


class OrderedStop:
    """Runs `action` (close the recording, silence the sound, release the sensors) at most once."""

    def __init__(
        self, action: Callable[[], None], limit_s: float = STOP_LIMIT_S, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._action = action
        self._limit_s = limit_s
        self._clock = clock
        self._began_at: float | None = None
        # A daemon: an action that hangs must not keep the process alive.
        self._thread = threading.Thread(target=self._run, name="stop", daemon=True)
        self.failure: str | None = None
        """Why the stop went wrong, in one line; None while it has not."""

    @property
    def begun(self) -> bool:
        return self._began_at is not None

    def begin(self) -> None:
        """Start the action if it has not been started."""
        if not self.begun:
            self._began_at = self._clock()
            self._thread.start()

    def over(self) -> bool:
        """True when the action has ended, or its time is up (then `failure` says so)."""
        if self._began_at is None:
            return False
        if not self._thread.is_alive():
            return True
        late = self._clock() - self._began_at > self._limit_s
        if late:
            self.failure = f"the session did not stop within {self._limit_s:g} s"
        return late

    def finish(self) -> None:
        """Begin if needed, and wait (with the limit) until it is over. For log-off and the end of the process."""
        self.begin()
        self._thread.join(self._limit_s)
        self.over()

    def _run(self) -> None:
        try:
            self._action()
        except Exception as error:
            self.failure = in_words(error)
            raise
