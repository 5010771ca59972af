"""What is read off a running day."""

from __future__ import annotations

import gc
import sys

from imufeedback.measure.memory import resident_mb


def settled_mb() -> float:
    """Resident memory of this process (10^6 bytes) after everything unreachable is gone."""
    gc.collect()
    return resident_mb()


def python_blocks() -> int:
    """Blocks of memory that Python's objects take: exact where resident memory is rounded to what the system gave."""
    return sys.getallocatedblocks()
