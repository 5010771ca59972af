"""What a drill says beside its rules: how it is done, how its reps are found, how it builds up, when to stop."""

from __future__ import annotations

from typing import Annotated, Literal

import msgspec
from msgspec import Meta

STOP_WORDS = (
    "Slow before fast. Stop at once when anything is tight in a way that pinches, hurts, catches, gives way or goes "
    "numb; do not force the end of the range."
)
"""Said with every drill; usual practice, from memory."""


Picture = Literal[
    "",
    "address",
    "top",
    "half-way",
    "impact",
    "finish",
    "half-back",
    "half-through",
    "trail-turn-in",
    "trail-turn-out",
    "lead-turn-in",
    "lead-turn-out",
]
"""What a step is drawn as (`figure.posture`); none when empty."""


class DrillStep(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One step of the way up."""

    name: str
    reps: Annotated[int, Meta(ge=1, le=100)]
    """So many good ones, and the next step comes."""
    least_s: Annotated[float, Meta(ge=0, le=60)] = 0.0
    """A rep from start to end is no quicker than this …"""
    most_s: Annotated[float, Meta(gt=0, le=120)] = 60.0
    """… and no slower than this."""
    text: str = ""
    """What to do, in two sentences."""
    still: str = ""
    """What must not move."""
    direction: Literal["", "in", "out"] = ""
    """Of a hip turn: only these count. Empty: both."""
    picture: Picture = ""


class Hold(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """Where a position that is held counts as a rep: after a turn that was below `from_below_deg`, a rest at
    `at_least_deg` or more. Degrees of pelvis turn from address, towards the target positive."""

    from_below_deg: Annotated[float, Meta(ge=-80, le=120)]
    at_least_deg: Annotated[float, Meta(ge=-80, le=120)]
    hold_s: Annotated[float, Meta(gt=0.3, le=20)]
    """Over when it was held for so long."""


class Drill(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How a drill is done."""

    detect: Literal["swing", "hip-turn", "hold"]
    """``swing``: reps by the phases of a swing; ``hip-turn``: by the turn of the pelvis over a standing leg; ``hold``:
    a position that is reached and held."""
    instructions: tuple[str, ...]
    steps: tuple[DrillStep, ...]
    side: Literal["trail", "lead"] = "trail"
    """Standing leg of a hip turn."""
    position: str = ""
    """Stored with every value of a screening: ranges differ by position."""
    min_turn_deg: Annotated[float, Meta(gt=0, le=60)] = 12.0
    """Least pelvis turn of a hip turn."""
    hold: Hold | None = None
    back_after: Annotated[int, Meta(ge=1, le=50)] = 3
    """So many reps in a row that do not count, and it is one step back: slower comes before quicker."""
    stop_after: Annotated[int, Meta(ge=1, le=100)] = 6
    """So many in a row, and the drill is over for today."""
    stop: str = STOP_WORDS
    cues: tuple[str, ...] = ()
    """Sounds that this drill may make; all when empty."""
