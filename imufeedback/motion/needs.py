"""Which angles a rep needs, and why one is not judged when it lacks them, in words for the player.

Rules look at features, features are made of angles: a rule set in use so says which angles must have been known from
the beginning of the backswing to the finish. What no rule looks at spoils no rep.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import IntFlag

from imufeedback.records import Hand, Segment, Side


class Needed(IntFlag):
    """Angles, each a bit of what is not known at a step of a track."""

    NONE = 0
    TURN = 1
    SIDE_TILT = 2
    FORWARD_TILT = 4
    TRAIL_FLEXION = 8
    LEAD_FLEXION = 16
    TRAIL_ROTATION = 32
    LEAD_ROTATION = 64
    TRAIL_ADDUCTION = 128
    LEAD_ADDUCTION = 256
    TRAIL_KNEE = 512
    LEAD_KNEE = 1024


PELVIS = Needed.TURN | Needed.SIDE_TILT | Needed.FORWARD_TILT
TRAIL_HIP = Needed.TRAIL_FLEXION | Needed.TRAIL_ADDUCTION | Needed.TRAIL_ROTATION
LEAD_HIP = Needed.LEAD_FLEXION | Needed.LEAD_ADDUCTION | Needed.LEAD_ROTATION
SWING = PELVIS | Needed.TRAIL_FLEXION | Needed.LEAD_FLEXION
"""Of every swing and rehearsal, whatever the rules: its phases, positions and live states are made of them."""
ROTATIONS = Needed.TRAIL_ROTATION | Needed.LEAD_ROTATION
KNEES = Needed.TRAIL_KNEE | Needed.LEAD_KNEE

BEYOND: tuple[tuple[str, Needed], ...] = (
    ("trail_hip_", Needed.TRAIL_ROTATION),
    ("lead_hip_", Needed.LEAD_ROTATION),
    ("hip_rotation_", ROTATIONS),
    ("own_axis_", ROTATIONS),
    ("hip_mirror_", ROTATIONS),
    ("trail_knee_", Needed.TRAIL_KNEE),
    ("knees_", KNEES),
    ("lead_knee_", KNEES),
)
"""What a swing's features need beyond that, by the beginning of their names."""


def of_swing(features: Iterable[str]) -> Needed:
    """Angles that a swing needs when rules look at these features of it."""
    out = SWING
    for name in features:
        for begin, angles in BEYOND:
            if name.startswith(begin):
                out |= angles
    return out


def of_hip_turn(side: str) -> Needed:
    """Angles that a hip turn over the ``trail`` or ``lead`` leg needs: the other leg may do what it likes."""
    return PELVIS | (TRAIL_HIP if side == "trail" else LEAD_HIP)


@dataclass(frozen=True, slots=True)
class Restarted:
    """A sensor that joints hang on began again, and what it is worn on with it."""

    t_s: float
    segment: Segment


AGAIN = "set up to the ball again"
"""Ends in a zero, which makes turn and rotation whole."""


ZEROED = f"turn and rotation were set to zero during the swing \N{EN DASH} {AGAIN}"


def restarted(segment: Segment) -> str:
    return f"{str(segment).replace('_', ' ')}: its sensor restarted \N{EN DASH} {AGAIN}"


def missing(angles: Needed, hand: Hand) -> str:
    """Why a rep is void when the samples for these angles never came. The sensor is the one that all of them share."""
    if angles & PELVIS:
        where = "pelvis"
    else:
        trail = bool(angles & (TRAIL_HIP | (Needed.NONE if angles & LEAD_HIP else Needed.TRAIL_KNEE)))
        part = "thigh" if angles & (TRAIL_HIP | LEAD_HIP) else "shank"
        where = f"{_side(hand, trail=trail)} {part}"
    return f"{where}: samples of its sensor are missing \N{EN DASH} bring the sensors near"


def unsure(angles: Needed, hand: Hand, *, after_gap: bool) -> str:
    """Why a rep is void when these angles were not known well enough: the first of them is named."""
    first = next(one for one in Needed if one & angles)
    how = "after a gap" if after_gap else "well enough"
    counted = bool(first & (ROTATIONS | Needed.TURN))  # counts from the zero; gravity shows all others by itself
    return f"{_joint(first, hand)} not known {how}" + (f" \N{EN DASH} {AGAIN}" if counted else "")


def _joint(angle: Needed, hand: Hand) -> str:
    if angle & PELVIS:
        return f"pelvis: {str(angle.name).lower().replace('_', ' ')}"
    trail = bool(angle & (TRAIL_HIP | Needed.TRAIL_KNEE))
    if angle & KNEES:
        return f"{_side(hand, trail=trail)} knee: flexion"
    return f"{_side(hand, trail=trail)} hip: {str(angle.name).split('_')[1].lower()}"


def _side(hand: Hand, *, trail: bool) -> Side:
    return hand.trail if trail else hand.lead
