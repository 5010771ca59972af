"""What refuses a calibration, and the words for it."""

from __future__ import annotations

from imufeedback.records import Segment


class FitImpossible(Exception):
    """The windows do not hold what a calibration needs, or hold what contradicts itself; the text says which sensor,
    why, and what to try."""


def name(segment: Segment) -> str:
    """As a player says it."""
    return str(segment).replace("_", " ")


def advice(segment: Segment) -> str:
    """What would show a segment's forward direction better."""
    return "bow straight forward" if segment is Segment.PELVIS else "lift the knee straight up"
