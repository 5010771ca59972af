"""Starting Qt and showing a window. Imports Qt only when asked to, so that the command line works without it."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from imufeedback.app.display import require_display
from imufeedback.app.uncaught import install_hooks
from imufeedback.records import Fault

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

    from imufeedback.app.bay import BayWindow
    from imufeedback.app.live_window import LiveWindow

__all__ = ["require_display", "run_app"]


def run_app(make_window: Callable[[], BayWindow | LiveWindow]) -> int:
    """Show the window that `make_window` makes, as large as the screen, until it is closed; return the exit status.

    The application exists when `make_window` is called. Closing, Ctrl-C, termination and log-off all end in the
    window's ordered stop. The status is 1 when that stop went wrong.

    Raises
    ------
    NoDisplay
        There is no screen, or Qt cannot start.
    """
    require_display()
    app = make_application()
    with closing_on_signals() as closing:
        window = make_window()
        restore = install_hooks(lambda where, what: window.feed.push([Fault(window.feed.newest_s, where, what)]))
        try:
            app.commitDataRequest.connect(lambda manager: window.stop_now())
            # Without a window manager "maximised" does nothing: then the size itself has to do.
            window.resize(app.primaryScreen().availableSize())
            window.showMaximized()
            closing.by(window.stop_unasked)
            app.exec()
            window.stop_now()
        finally:
            restore()
    return 0 if window.stop_failure is None else 1


def make_application() -> QApplication:
    """The one application: a style of its own that looks the same everywhere."""
    from PySide6.QtCore import QLocale, Qt
    from PySide6.QtGui import QIcon
    from PySide6.QtWidgets import QApplication

    from imufeedback.app import numerals
    from imufeedback.app.look import look

    app = QApplication.instance()
    if not isinstance(app, QApplication):
        # else Qt hands every larger shape to threads of its own and waits: a thousand switches a second for nothing
        os.environ.setdefault("QT_NO_GUI_THREADPOOL", "1")
        app = QApplication(sys.argv[:1])
    app.setApplicationName("imufeedback")
    app.setDesktopFileName("imufeedback")
    app.setWindowIcon(QIcon(str(Path(__file__).with_name("icon.svg"))))
    app.setStyle("Fusion")
    numerals.use_decimal_mark(QLocale().decimalPoint())
    app.styleHints().setColorScheme(Qt.ColorScheme.Light)
    look.begin()
    return app


WAKE_MS = 100
"""Python runs its handlers only when Qt calls it: so often at least."""


class Closing:
    """What a signal does to a window: it is closed, as soon as there is one."""

    def __init__(self) -> None:
        self._asked = False
        self._close: Callable[[], object] | None = None

    def ask(self, *_: object) -> None:
        """A signal came. Never raises in the middle of whatever Qt is at, where it would be lost."""
        self._asked = True
        if self._close is not None:
            self._close()

    def by(self, close: Callable[[], object]) -> None:
        """This closes the window; at once when a signal came while it was made."""
        from PySide6.QtCore import QTimer

        self._close = close
        if self._asked:
            QTimer.singleShot(0, close)


@contextmanager
def closing_on_signals() -> Iterator[Closing]:
    """From here on Ctrl-C, termination, and a terminal that goes away close the window. Needs an application."""
    from PySide6.QtCore import QTimer

    closing = Closing()
    names = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
    numbers = [getattr(signal, name) for name in names if hasattr(signal, name)]
    numbers = [one for one in numbers if signal.getsignal(one) is not signal.SIG_IGN]  # as under nohup
    before = [signal.signal(number, closing.ask) for number in numbers]
    timer = QTimer()
    timer.timeout.connect(lambda: None)
    timer.start(WAKE_MS)
    try:
        yield closing
    finally:
        timer.stop()
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
