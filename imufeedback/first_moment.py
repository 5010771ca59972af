"""What comes before everything else: one thread for matrices, and Ctrl-C while the program is still being loaded, and
after all is closed, when there is nothing to end in order."""

from __future__ import annotations

import os
from types import FrameType


def stop_at_once(number: int, frame: FrameType | None) -> None:
    """A signal's handler."""
    try:
        os.write(2, b"imufeedback: stopped\n")
    finally:
        os._exit(128 + number)


def one_thread_for_matrices() -> None:
    """Keep the numerical library to the thread that calls it, unless its own settings say otherwise; before numpy is
    imported, and for child processes too.

    The matrices here are small. A thread a core that waits for the next one spins meanwhile: beside other work a
    calibration's evidence cost up to twice as much processor time.
    """
    for name in ("OPENBLAS_NUM_THREADS", "VECLIB_MAXIMUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")
