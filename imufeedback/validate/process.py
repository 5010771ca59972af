"""Time and memory of whole commands, each in a process of its own."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import dataclass

from imufeedback.errors import ImuFeedbackError

_MAXRSS_BYTES = 1 if sys.platform == "darwin" else 1024


@dataclass(frozen=True, slots=True)
class Used:
    """What one command took."""

    wall_s: float
    peak_mb: float
    """Largest resident memory (10^6 bytes); NaN where the system does not tell."""


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
    status, peak_mb = _wait(child)
    wall_s = time.perf_counter() - begin
    if status:
        last = said.strip().splitlines()[-1:] or ["no word"]
        raise ImuFeedbackError(f"ended with status {status}: {last[0]}", where=f"imufeedback {' '.join(arguments)}")
    return Used(wall_s, peak_mb)


def _wait(child: subprocess.Popen[str]) -> tuple[int, float]:
    if not hasattr(os, "wait4"):
        return child.wait(), float("nan")
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return child.returncode, usage.ru_maxrss * _MAXRSS_BYTES / 1e6
