"""Ctrl-C while the program is still being loaded, and after all is closed: there is nothing to end in order."""

from __future__ import annotations

import os
from types import FrameType


def stop_at_once(number: int, frame: FrameType | None) -> None:
    """A signal's handler."""
    try:
        os.write(2, b"imufeedback: stopped\n")
    finally:
        os._exit(128 + number)
