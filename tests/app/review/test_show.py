"""The review as a process: Ctrl-C and termination close it in good order."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

CODE = """
import sys
from pathlib import Path
from PySide6.QtCore import QTimer
from imufeedback.app.review import show, window
shown = window.ReviewWindow.showMaximized
def tell(self):
    shown(self)
    QTimer.singleShot(0, lambda: print("shown", flush=True))
window.ReviewWindow.showMaximized = tell
show.show(Path(sys.argv[1]), None)
print("closed", flush=True)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows sends no such signals to a child")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_closes_the_window(tmp_path: Path, number: signal.Signals) -> None:
    environment = {**os.environ, "QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": os.pathsep.join(sys.path)}
    child = subprocess.Popen(
        [sys.executable, "-c", CODE, str(tmp_path)], stdout=subprocess.PIPE, text=True, env=environment
    )
    assert child.stdout is not None
    try:
        assert child.stdout.readline() == "shown\n"
        time.sleep(0.1)
        child.send_signal(number)
        assert child.communicate(timeout=30)[0] == "closed\n"
        assert child.returncode == 0
    finally:
        child.kill()
