"""What a drill says beside its rules: how it is done, how its reps are found, how it builds up, when to stop."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Literal

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

    detect: Literal["swing", "hip-turn"]
    """``swing``: reps by the phases of a swing; ``hip-turn``: by the turn of the pelvis over a standing leg."""
    instructions: tuple[str, ...]
    steps: tuple[Step, ...]
    side: Literal["trail", "lead"] = "trail"
    """Standing leg of a hip turn."""
    position: str = ""
    """Stored with every value of a screening: ranges differ by position."""
    min_turn_deg: Annotated[float, Meta(gt=0, le=60)] = 12.0
    """Least pelvis turn of a hip turn."""
    stop: str = STOP_WORDS
    cues: tuple[str, ...] = ()
    """Sounds that this drill may make; all when empty."""


@dataclass(frozen=True, slots=True)
class Done:
    """One rep of a drill."""

    lasted_s: float
    clean: bool
    """Without a fault."""


@dataclass(frozen=True, slots=True)
class Progress:
    """Where a player is in a drill."""

    step: int
    """Number of the present step, from 0; the number of steps when all are done."""
    clean: int
    """Clean reps of it so far."""
    text: str
    """What to do now, in words for the player."""


def progress(drill: Drill, reps: Sequence[Done]) -> Progress:
    """Which step comes next: a step is done after its number of clean reps that were not too quick for it."""
    step, clean, quick = 0, 0, False
    for rep in reps:
        if step == len(drill.steps):
            break
        now = drill.steps[step]
        quick = rep.lasted_s < now.least_s
        clean += rep.clean and not quick
        if clean >= now.reps:
            step, clean, quick = step + 1, 0, False
    return Progress(step, clean, _say(drill, step, clean, quick))


def _say(drill: Drill, step: int, clean: int, quick: bool) -> str:
    if step == len(drill.steps):
        return "All steps are done."
    now = drill.steps[step]
    head = f"Step {step + 1} of {len(drill.steps)}, {now.name}: {clean} of {now.reps} clean."
    if quick:
        return f"{head} Slower: take at least {now.least_s:g} s."
    faster = step > 0 and clean == 0 and now.least_s < drill.steps[step - 1].least_s
    more = "Now a little quicker. " if faster else ""
    return f"{head} {more}{now.text}".strip()
