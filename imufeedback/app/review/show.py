"""Opens the review with sound, and closes both."""

from __future__ import annotations

import time
from pathlib import Path

from imufeedback.app.review.window import ReviewWindow
from imufeedback.app.run import closing_on_signals, make_application
from imufeedback.app.uncaught import install_hooks
from imufeedback.audio import open_player
from imufeedback.record.library import Library

CUE_LIMIT_NS = 150_000_000
"""A sound that could not begin within this is not played late."""


def show(root: Path, recording: Path | None) -> list[str]:
    """Show the window until it is closed; returns what a person should know. Needs a screen."""
    app = make_application()
    with closing_on_signals() as closing, Library(root) as library:
        sounder = open_player()
        window = ReviewWindow(library, play=lambda sound: sounder.play(sound, time.monotonic_ns() + CUE_LIMIT_NS))
        restore = install_hooks(lambda where, what: window.messages.show_fault(f"{where}: {what}"))
        try:
            if recording is not None:
                window.open(recording)
            window.resize(app.primaryScreen().availableSize())
            window.showMaximized()
            closing.by(window.close)
            app.exec()
        finally:
            restore()
            sounder.close()
    return sounder.notices()
