"""Memory of this process and of a child that has ended, in 10^6 bytes."""

from __future__ import annotations

import os
import subprocess
import sys

import psutil


def resident_mb() -> float:
    """Resident memory now."""
    return float(psutil.Process().memory_info().rss) / 1e6


def peak_mb() -> float:
    """Largest resident memory so far; NaN where the system does not tell."""
    if sys.platform == "win32":
        return float(psutil.Process().memory_info().peak_wset) / 1e6
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * _UNIT / 1e6


def ended(child: subprocess.Popen[str]) -> tuple[int, float]:
    """Wait for a child; its status, and the largest resident memory that it had, NaN where the system does not tell."""
    if sys.platform == "win32":
        return child.wait(), float("nan")
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    return child.returncode, usage.ru_maxrss * _UNIT / 1e6


_UNIT = 1 if sys.platform == "darwin" else 1024
"""Bytes that ``ru_maxrss`` counts in."""
