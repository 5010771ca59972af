"""Work whose process dies at some recordings, to hand to a pool of processes in place of the real work."""

from __future__ import annotations

import os
from pathlib import Path

from imufeedback.review.many import RecordingOutcome, Way
from imufeedback.review.many.one import failed


def work(recording: str, way: Way) -> RecordingOutcome:
    """Dies at ``deadly``, raises at ``wrong``, else comes to an end."""
    path = Path(recording)
    if path.stem == "deadly":
        os._exit(1)
    if path.stem == "wrong":
        raise ZeroDivisionError("in two\nlines")
    return {**failed(recording, ""), "state": "judged"}
