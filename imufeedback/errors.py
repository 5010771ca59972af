"""Exceptions: misuse, and work that cannot be done. Bad *data* is an event, never an exception.

::

    ImuFeedbackError            one line for a person: what, where, what to try
    ├── UsageError              the call makes no sense (command line: exit status 2)
    ├── BadFile                 a file is not what it should be
    │   ├── NoRecording         … is not a recording at all
    │   └── BadToml             … a rule set, drill, layout or settings file has a wrong key or value
    ├── CannotWrite             an output cannot be written
    ├── RadioError              Bluetooth cannot be used, or a sensor cannot be reached
    ├── SoundError              no sound device, or it went away
    └── NoDisplay               a window was asked for and there is no screen, or Qt cannot start
"""

from __future__ import annotations

from imufeedback.foreign_text import printable


class ImuFeedbackError(Exception):
    """Base of all. `what` happened, `where`, and what to `hint` at; `str()` is one line of the three."""

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        self.what = what
        self.where = where
        self.hint = hint
        super().__init__(what)

    def __str__(self) -> str:
        line = f"{self.where}: {self.what}" if self.where else self.what
        return printable(f"{line} – {self.hint}" if self.hint else line)


class UsageError(ImuFeedbackError):
    """The call makes no sense."""


class BadFile(ImuFeedbackError):
    """A file is not what it should be."""


class NoRecording(BadFile):
    """A file is not a recording."""


class BadToml(BadFile):
    """A rule set, drill, layout or settings file has a wrong key or value."""


class CannotWrite(ImuFeedbackError):
    """An output cannot be written."""


class RadioError(ImuFeedbackError):
    """Bluetooth cannot be used, or a sensor cannot be reached."""


class SoundError(ImuFeedbackError):
    """There is no sound device, or it went away."""


class NoDisplay(ImuFeedbackError):
    """A window was asked for and there is no screen, or Qt cannot start."""
