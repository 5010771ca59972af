"""A whole application in a process of its own: it ends in good order however it is ended."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

_APP = """
import os, sys
from imufeedback.app import run
from imufeedback.app.run import run_app
from imufeedback.records import Hand

run.require_display = lambda: None  # tested on its own, and slow

def stop():
    print("stopped", flush=True)
    if {failing}:
        raise OSError("disk full")

def make():
    from PySide6.QtCore import QTimer
    from imufeedback.app.bay import BayWindow
    from imufeedback.app.feed import EventFeed
    window = BayWindow(EventFeed(Hand.RIGHT), on_stop=stop, on_close=lambda failure: print("closed", failure))
    QTimer.singleShot(100, lambda: ({ending}))
    return window

sys.exit(run_app(make))
"""


def run(ending: str, *, failing: bool = False) -> subprocess.CompletedProcess[str]:
    code = _APP.format(ending=ending, failing=failing)
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen"}
    return subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=30)


@pytest.mark.parametrize(
    "ending",
    [
        "window.close()",
        f"os.kill(os.getpid(), {int(signal.SIGINT)})",
        f"os.kill(os.getpid(), {int(signal.SIGTERM)})",
        f"os.kill(os.getpid(), {int(getattr(signal, 'SIGHUP', signal.SIGTERM))})",
    ],
    ids=["closed", "interrupted", "terminated", "hung up"],
)
@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent the POSIX way")
def test_every_end_is_an_ordered_stop(ending: str) -> None:
    done = run(ending)
    assert done.stdout.splitlines() == ["stopped", "closed None"]
    assert done.returncode == 0


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent the POSIX way")
def test_a_signal_while_the_window_is_being_made_closes_it_as_soon_as_it_is_there() -> None:
    code = _APP.format(ending="None", failing=False).replace("def make():", "def make():\n    import signal")
    code = code.replace("    return window", f"    os.kill(os.getpid(), {int(signal.SIGTERM)})\n    return window")
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, timeout=30)
    assert done.stdout.splitlines() == ["stopped", "closed None"]
    assert done.returncode == 0


def test_a_stop_that_fails_is_told_and_shows_in_the_status() -> None:
    done = run("window.close()", failing=True)
    assert done.stdout.splitlines() == ["stopped", "closed OSError: disk full"]
    assert done.returncode == 1
    assert "disk full" in done.stderr


def test_the_end_of_the_event_loop_alone_stops_too() -> None:
    done = run("__import__('PySide6.QtWidgets').QtWidgets.QApplication.exit(0)")
    assert done.stdout.splitlines() == ["stopped"]
    assert done.returncode == 0
