"""Time and memory of whole commands, each in a process of its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from dataclasses import dataclass
from typing import Any

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.checks import LeftOut
from imufeedback.measure.memory import ended


@dataclass(frozen=True, slots=True)
class Used:
    """What one command took."""

    wall_s: float
    peak_mb: float
    """Largest resident memory (10^6 bytes); NaN where the system does not say."""


def command(*arguments: str) -> Used:
    """Run ``imufeedback`` with these arguments. Raises ImuFeedbackError when it fails, with its last line."""
    begin = time.perf_counter()
    child = subprocess.Popen(
        [sys.executable, "-m", "imufeedback", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert child.stderr is not None
    with child.stderr:
        said = child.stderr.read()
    status, peak_mb = ended(child)
    wall_s = time.perf_counter() - begin
    if status:
        last = said.strip().splitlines()[-1:] or ["no word"]
        raise ImuFeedbackError(f"ended with status {status}: {last[0]}", where=f"imufeedback {' '.join(arguments)}")
    return Used(wall_s, peak_mb)


def child(*arguments: object, failed: str, where: str, limit_s: float | None = None) -> Any:
    """The JSON value on the last line that Python writes with these arguments, a process of its own without a screen.

    Raises LeftOut when there is no Qt to draw with, else ImuFeedbackError, `failed` with its last line, when it did not
    end well.
    """
    command = [sys.executable, *map(str, arguments)]
    path = os.pathsep.join(one for one in sys.path if one)
    environment = os.environ | {"QT_QPA_PLATFORM": "offscreen", "PYTHONPATH": path}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=limit_s, check=False)
    if done.returncode:
        last = (done.stderr.strip().splitlines() or [f"status {done.returncode}"])[-1]
        if "cannot open shared object file" in last or "No module named 'PySide6" in last:
            raise LeftOut(f"Qt cannot start here ({last})")
        raise ImuFeedbackError(f"{failed}: {last}", where=where)
    return json.loads(done.stdout.strip().splitlines()[-1])
