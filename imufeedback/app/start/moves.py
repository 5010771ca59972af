"""What turns in each of the calibration movements, for the picture of the body."""

from __future__ import annotations

from imufeedback.records import Segment

TURNING: tuple[tuple[Segment, ...], ...] = (
    (),
    (Segment.RIGHT_THIGH, Segment.RIGHT_SHANK),
    (Segment.LEFT_THIGH, Segment.LEFT_SHANK),
    (Segment.PELVIS,),
    (),
)
"""By line of `texts.fit_list`."""
