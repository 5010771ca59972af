"""Errors that nobody catches: in slots, timers, threads and destructors. Each is logged and shown, none disappears.

The details of what nobody foresaw go where the command line puts them too (`imufeedback.unforeseen`).
"""

from __future__ import annotations

import logging
import sys
import threading
import traceback
from collections import Counter
from collections.abc import Callable
from types import TracebackType
from typing import Any

from imufeedback import unforeseen
from imufeedback.errors import ImuFeedbackError
from imufeedback.resources import data_folder

log = logging.getLogger("imufeedback.app")

OnFault = Callable[[str, str], None]
"""Called with where it happened and what, from whichever thread it happened in."""


def install_hooks(on_fault: OnFault) -> Callable[[], None]:
    """Send uncaught errors of all threads to the log and to `on_fault`. Returns a function that undoes it.

    The same error again and again (a timer that fails 30 times a second) is reported at its 1st, 2nd, 4th, 8th …
    occurrence, so that neither the log nor the window drowns.
    """
    before = (sys.excepthook, threading.excepthook, sys.unraisablehook)
    report = _Reporter(on_fault)

    def main(kind: type[BaseException], error: BaseException, trace: TracebackType | None) -> None:
        if issubclass(kind, KeyboardInterrupt):
            before[0](kind, error, trace)
        else:
            report(error, trace, "window")

    def thread(args: threading.ExceptHookArgs) -> None:
        if args.exc_value is not None:
            report(args.exc_value, args.exc_traceback, args.thread.name if args.thread else "a thread")

    def unraisable(args: Any) -> None:
        if args.exc_value is not None:
            report(args.exc_value, args.exc_traceback, "clean-up")

    def restore() -> None:
        sys.excepthook, threading.excepthook, sys.unraisablehook = before

    sys.excepthook, threading.excepthook, sys.unraisablehook = main, thread, unraisable
    return restore


class _Reporter:
    def __init__(self, on_fault: OnFault) -> None:
        self._on_fault = on_fault
        self._seen: Counter[tuple[str, str]] = Counter()

    def __call__(self, error: BaseException, trace: TracebackType | None, where: str) -> None:
        place, what = f"{where}, {_innermost(trace)}", in_words(error)
        self._seen[place, what] += 1
        times = self._seen[place, what]
        if times & (times - 1):
            return
        if not isinstance(error, ImuFeedbackError):
            unforeseen.keep(error, data_folder())
        log.error("%s: %s (time %d)", place, what, times)
        self._on_fault(place, what if times == 1 else f"{what} ({times} times)")


def in_words(error: BaseException) -> str:
    """One line: our own errors speak for themselves, others are named by their kind."""
    text = " ".join(str(error).split())
    return text if isinstance(error, ImuFeedbackError) else f"{type(error).__name__}: {text}"


def _innermost(trace: TracebackType | None) -> str:
    frames = traceback.extract_tb(trace)
    return f"{frames[-1].name} line {frames[-1].lineno}" if frames else "place unknown"
