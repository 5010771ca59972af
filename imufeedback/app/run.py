"""Starting Qt and showing a window. Imports Qt only when asked to, so that the command line works without it."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from imufeedback.app.display import require_display
from imufeedback.app.hooks import install_hooks
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
    window = make_window()
    restore = install_hooks(lambda where, what: window.feed.push([Fault(window.feed.newest_s, where, what)]))
    try:
        with closing_on_signals(window.stop_unasked):
            app.commitDataRequest.connect(lambda manager: window.stop_now())
            # Without a window manager "maximised" does nothing: then the size itself has to do.
            window.resize(app.primaryScreen().availableSize())
            window.showMaximized()
            app.exec()
        window.stop_now()
    finally:
        restore()
    return 0 if window.stop_failure is None else 1


def make_application() -> QApplication:
    """The one application: a style of its own that looks the same everywhere, dark text on light."""
    from PySide6.QtCore import QLocale, Qt
    from PySide6.QtWidgets import QApplication

    from imufeedback.app import numerals

    app = QApplication.instance()
    if not isinstance(app, QApplication):
        app = QApplication(sys.argv[:1])
    app.setApplicationName("imufeedback")
    app.setStyle("Fusion")
    numerals.use_decimal_mark(QLocale().decimalPoint())
    app.styleHints().setColorScheme(Qt.ColorScheme.Light)
    return app


@contextmanager
def closing_on_signals(close: Callable[[], object]) -> Iterator[None]:
    """Ctrl-C and termination call `close`. Python gets to run its handlers because the frame timer wakes it."""
    numbers = (signal.SIGINT, signal.SIGTERM)
    before = [signal.signal(number, lambda *_: close()) for number in numbers]
    try:
        yield
    finally:
        for number, handler in zip(numbers, before, strict=True):
            signal.signal(number, handler)
