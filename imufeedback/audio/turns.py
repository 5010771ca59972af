"""Turns on the processor: what must not wait asks the system, and Python, for them."""

from __future__ import annotations

import os
import sys

TURN_S = 0.0005
"""Longest turn of one Python thread while another waits. Python's own 5 ms is half a period of the sound device, and
drawing would use it up again and again."""
PRIORITY = 2
"""Of the real-time class; low in it, so that the sound server and the system go first."""


def quick_turns() -> None:
    """Let waiting threads have their turn soon; for the whole process."""
    sys.setswitchinterval(TURN_S)


def first_turn() -> bool:
    """Ask for the real-time class for the calling thread; True when the system allows it. Most do for few users only.

    For threads that do little and sleep much: radio, engine, sound.
    """
    if sys.platform != "linux":
        return False
    try:
        os.sched_setscheduler(0, os.SCHED_RR, os.sched_param(PRIORITY))
    except OSError:  # not allowed: the work goes on with ordinary turns
        return False
    return True
