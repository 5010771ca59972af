"""What a drill says beside its rules: how it is done, how its reps are found, how it builds up, when to stop."""

from __future__ import annotations

from typing import Annotated

import msgspec
from msgspec import Meta

STOP_WORDS = (
    "Slow before fast. Stop at once when anything is tight in a way that pinches, hurts, catches, gives way or goes "
    "numb; do not force the end of the range."
)
"""Said with every drill; usual practice, from memory."""


class Step(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One step of the way up."""

    name: str
    reps: Annotated[int, Meta(ge=1, le=100)]
    least_s: Annotated[float, Meta(ge=0, le=60)] = 0.0
    """A rep from start to end is no quicker than this …"""
    text: str = ""


class Drill(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a drill is done."""

    detect: str
    """``swing``: reps by the phases of a swing; ``hip-turn``: by the rotation of the standing hip, in or out."""
    instructions: tuple[str, ...]
    steps: tuple[Step, ...]
    position: str = ""
    """Stored with every value of a screening: ranges differ by position."""
    min_rotation_deg: Annotated[float, Meta(gt=0, le=60)] = 10.0
    """Least hip rotation of a rep that is found by it."""
    stop: str = STOP_WORDS
    cues: tuple[str, ...] = ()
    """Sounds that this drill may make; all when empty."""
