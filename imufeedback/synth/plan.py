"""What a body can do (channels), and what each channel does when (pieces, one after the other: a plan)."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import TypeAlias

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.records import Floats, Hand, Side
from imufeedback.synth.profile import Constant, Course, Profile, Spline, course


class Channel(StrEnum):
    """One scalar of the body: radians, or metres where `is_length`. Positive as `records` and the design name them."""

    TURN = "turn"
    SIDE_TILT = "side_tilt"
    FORWARD_TILT = "forward_tilt"
    TRAIL_FLEXION = "trail_flexion"
    TRAIL_ADDUCTION = "trail_adduction"
    TRAIL_ROTATION = "trail_rotation"
    TRAIL_KNEE = "trail_knee"
    LEAD_FLEXION = "lead_flexion"
    LEAD_ADDUCTION = "lead_adduction"
    LEAD_ROTATION = "lead_rotation"
    LEAD_KNEE = "lead_knee"
    SWAY = "sway"
    """Pelvis towards the target, from quiet standing."""
    DEPTH = "depth"
    """Pelvis forward (towards the ball)."""
    HEIGHT = "height"
    """Pelvis up."""
    HEADING = "heading"
    """Where the player faces: from ahead towards the lead side. Turn, sway and depth count from here."""
    AHEAD = "ahead"
    """Where the player stands: this far ahead of the first place …"""
    ACROSS = "across"
    """… and this far to its lead side."""
    TORSO_TILT = "torso_tilt"
    """Trunk forward on the pelvis."""
    TORSO_TURN = "torso_turn"
    """Shoulders on the pelvis, towards the target."""
    ARM_FLEXION = "arm_flexion"
    """Lead upper arm forward; the next one across the chest."""
    ARM_ADDUCTION = "arm_adduction"
    ELBOW = "elbow"
    """Lead elbow flexion."""
    FOREARM_ROTATION = "forearm_rotation"
    """Lead forearm: palm down."""
    FOREARM_SHOCK = "forearm_shock"
    """What the hit does to it, about its own flexion axis."""

    @property
    def is_length(self) -> bool:
        return self in _LENGTHS


_LENGTHS = frozenset({Channel.SWAY, Channel.DEPTH, Channel.HEIGHT, Channel.AHEAD, Channel.ACROSS})
ARM = (
    Channel.TORSO_TILT,
    Channel.TORSO_TURN,
    Channel.ARM_FLEXION,
    Channel.ARM_ADDUCTION,
    Channel.ELBOW,
    Channel.FOREARM_ROTATION,
    Channel.FOREARM_SHOCK,
)
"""Nothing but the forearm hangs on these."""


_LEG = {
    True: (Channel.TRAIL_FLEXION, Channel.TRAIL_ADDUCTION, Channel.TRAIL_ROTATION, Channel.TRAIL_KNEE),
    False: (Channel.LEAD_FLEXION, Channel.LEAD_ADDUCTION, Channel.LEAD_ROTATION, Channel.LEAD_KNEE),
}


def leg(side: Side, hand: Hand) -> tuple[Channel, Channel, Channel, Channel]:
    """Hip flexion, adduction, internal rotation and knee flexion of one side of a player."""
    return _LEG[side is hand.trail]


Posture: TypeAlias = Mapping[Channel, float]
"""Values of channels at one instant; a channel that is not named is 0, as in quiet standing."""

STANDING: Posture = {}


@dataclass(frozen=True, slots=True)
class Piece:
    """What the channels do from `start_s` on; a channel that is not named is 0."""

    start_s: float
    end_s: float
    profiles: Mapping[Channel, Profile]


def hold(start_s: float, end_s: float, posture: Posture) -> Piece:
    """Perfectly still."""
    return Piece(start_s, end_s, {channel: Constant(value) for channel, value in posture.items()})


def move(
    start_s: float, end_s: float, before: Posture, after: Posture, pace: Callable[[], tuple[float, float]] | None = None
) -> Piece:
    """Smoothly from rest to rest; `pace` gives each channel its own (`Spline.eased`), else all go evenly."""
    changes = {one: (before.get(one, 0.0), after.get(one, 0.0)) for one in Channel}
    return Piece(
        start_s,
        end_s,
        {
            one: Spline.eased((start_s, a), (end_s, b), *(pace() if pace else ()))
            for one, (a, b) in changes.items()
            if a or b
        },
    )


class MotionPlan:
    """Pieces without a gap. Before the first and after the last, those two go on (they should be at rest)."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        """Raises UsageError when the pieces do not follow one another."""
        for one, after in pairwise(pieces):
            if one.end_s != after.start_s:
                raise UsageError(f"a piece ends at {one.end_s} s and the next one begins at {after.start_s} s")
        self.pieces = tuple(pieces)
        self._starts = np.array([one.start_s for one in pieces])
        self.stays = not any(Channel.HEADING in one.profiles for one in pieces)
        """The player keeps to one place and one direction."""

    @property
    def duration_s(self) -> float:
        return self.pieces[-1].end_s

    def courses(self, t_s: Floats, channels: Collection[Channel] = tuple(Channel)) -> dict[Channel, Course]:
        """Some channels at the instants ``t_s`` (N,), in any order."""
        which = np.clip(np.searchsorted(self._starts, t_s, side="right") - 1, 0, None)
        out = {one: Course(*np.zeros((3, len(t_s)))) for one in channels}
        for index in np.unique(which):
            here = np.flatnonzero(which == index)
            for channel, profile in self.pieces[index].profiles.items():
                if channel not in out:
                    continue
                part = course(profile, t_s[here])
                out[channel].value[here] = part.value
                out[channel].rate[here] = part.rate
                out[channel].accel[here] = part.accel
        return out
