"""What is read off a running day."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path


def resident_mb() -> float:
    """Resident memory of this process (10^6 bytes) after everything unreachable is gone; NaN where it is not told."""
    gc.collect()
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
        return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
    except (OSError, IndexError, ValueError):
        return float("nan")


def python_blocks() -> int:
    """Blocks of memory that Python's objects take: exact where resident memory is rounded to what the system gave."""
    return sys.getallocatedblocks()
