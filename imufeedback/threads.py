"""Threads that must not wait for their turn on the processor: radio, engine, sound.

`start_prompt` is the one way by which the package starts such a thread of its own, so that a session with real sensors
has the turns that `imufeedback latency` measures. Threads that belong to others (the sound device's) ask by
`first_turn`.
"""

from __future__ import annotations

import os
import sys
import threading
from collections.abc import Callable

TURN_S = 0.0005
"""Longest turn of one Python thread while another waits. Python's own 5 ms is half a period of the sound device, and
drawing would use it up again and again."""
PRIORITY = 2
"""Of the real-time class; low in it, so that the sound server and the system go first."""


def start_prompt(name: str, work: Callable[[], None]) -> threading.Thread:
    """Start a thread that goes before others, where the system allows that. It must do little and sleep much.

    Not where there is one core: the system's Bluetooth service, whose data it waits for, would have none left. It does
    not keep the process alive; whoever starts it ends it.
    """

    def run() -> None:
        if (os.cpu_count() or 1) > 1:
            first_turn()
        work()

    thread = threading.Thread(target=run, name=name, daemon=True)
    thread.start()
    return thread


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
