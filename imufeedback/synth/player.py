"""One invented player: where the channels stand at the four marks of a swing, how long it takes, and how big they are.

The table is written for both hands in trail and lead; a left-hander is the mirror image. Sources: pelvis turn at the
top and at impact: Zheng et al., Int J Sports Med 2008;29:965-70 (men, 42 ± 7 and 42 ± 12); full-pace times: Grober &
Cholewicki, arXiv physics/0611291 (0.80 s and 0.27 s). Trail thigh angle and knees: common practice, no source. The rest
is chosen so that the feet stay about where they are.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Side
from imufeedback.synth.plan import Channel, Posture


class Pace(StrEnum):
    """How fast a rep is: a rehearsal, or a swing."""

    SLOW = "slow"
    FULL = "full"


@dataclass(frozen=True, slots=True)
class Timing:
    """Seconds of the parts of one rep."""

    back_s: float
    down_s: float
    """Top to impact."""
    through_s: float
    """Impact to finish."""

    def scaled(self, factor: float) -> Timing:
        return Timing(self.back_s * factor, self.down_s * factor, self.through_s * factor)


TIMING = {Pace.FULL: Timing(0.80, 0.27, 0.40), Pace.SLOW: Timing(2.5, 3.0, 1.5)}


@dataclass(frozen=True, slots=True)
class Marks:
    """One channel at the marks of a swing; degrees, or metres for lengths."""

    address: float
    top: float
    impact: float
    finish: float

    def scaled(self, factor: float) -> Marks:
        return Marks(self.address * factor, self.top * factor, self.impact * factor, self.finish * factor)


SHARE = 0.85
"""Part of the pelvis turn that the hip joints take up; the rest the feet do."""

TYPICAL: Mapping[Channel, Marks] = {
    Channel.TURN: Marks(0, -42, 42, 85),
    Channel.SIDE_TILT: Marks(0, -8, 8, 6),
    Channel.FORWARD_TILT: Marks(18, 16, 12, 2),
    Channel.TRAIL_FLEXION: Marks(30, 23, 3, -6),  # at impact it follows from its slope, see swing
    Channel.TRAIL_ADDUCTION: Marks(-8, 3, -12, -10),
    Channel.TRAIL_KNEE: Marks(20, 15, 34, 50),
    Channel.LEAD_FLEXION: Marks(30, 36, 15, 8),
    Channel.LEAD_ADDUCTION: Marks(-8, -15, 2, 5),
    Channel.LEAD_KNEE: Marks(20, 31, 12, 6),
    Channel.SWAY: Marks(0, -0.02, 0.05, 0.08),
    Channel.DEPTH: Marks(0, -0.01, 0, 0.05),
    Channel.HEIGHT: Marks(-0.05, -0.05, -0.03, 0),
}
"""Hip rotations are missing: they take up `SHARE` of the turn."""

TYPICAL_ARM: Mapping[Channel, Marks] = {
    Channel.TORSO_TILT: Marks(20, 20, 20, 5),
    Channel.TORSO_TURN: Marks(0, -45, -10, 15),
    Channel.ARM_FLEXION: Marks(45, 70, 45, 80),
    Channel.ARM_ADDUCTION: Marks(8, 40, 8, -20),
    Channel.ELBOW: Marks(5, 10, 5, 60),
    Channel.FOREARM_ROTATION: Marks(0, 60, 0, -45),
}
"""Trunk and lead arm; common practice, no source."""

STATURE_M = 1.70
"""Of the player whose lengths `Body` has."""


@dataclass(frozen=True, slots=True)
class Shape:
    """The motion of one rep."""

    marks: Mapping[Channel, Marks]
    share: float
    timing: Timing
    stall_at: float
    """Where a `stall` begins, as a part of the turn from top to impact."""
    arm: Mapping[Channel, Marks]
    """The same as `marks` for trunk and lead arm."""

    def address(self) -> Posture:
        """Radians and metres; the same for every rep of a player, so that zeroing has one truth."""
        return {one: si(one, marks.address) for one, marks in (*self.marks.items(), *self.arm.items())}


@dataclass(frozen=True, slots=True)
class Body:
    """Sizes, in metres.

    Hip height, thigh, upper arm and forearm are 0.53, 0.245, 0.186 and 0.146 of the stature (Drillis & Contini 1966, as
    in Winter, Biomechanics and Motor Control of Human Movement; from memory); widths and trunk are chosen.
    """

    half_hip_width_m: float = 0.085
    """Pelvis origin (midway between the hip centres) to a hip centre."""
    hip_height_m: float = 0.90
    """Of the pelvis origin in quiet standing."""
    thigh_m: float = 0.42
    trunk_m: float = 0.42
    """Pelvis origin to the line between the shoulders."""
    half_shoulder_width_m: float = 0.19
    upper_arm_m: float = 0.316
    forearm_m: float = 0.248

    def scaled(self, factor: float) -> Body:
        return Body(*(factor * getattr(self, one.name) for one in fields(self)))

    def hip_centre_m(self, side: Side) -> tuple[float, float, float]:
        """In pelvis axes."""
        return 0.0, 0.0, self.half_hip_width_m if side is Side.RIGHT else -self.half_hip_width_m

    def shoulder_m(self, side: Side) -> tuple[float, float, float]:
        """In trunk axes, from the pelvis origin."""
        return 0.0, self.trunk_m, self.half_shoulder_width_m if side is Side.RIGHT else -self.half_shoulder_width_m


@dataclass(frozen=True, slots=True)
class Player:
    """Handedness, size and the typical rep of one invented player."""

    hand: Hand
    shape: Shape
    body: Body = field(default_factory=Body)


def si(channel: Channel, value: float) -> float:
    """A number of the table in radians or metres."""
    return value if channel.is_length else float(np.deg2rad(value))


def typical_shape(pace: Pace, seed: int, tempo: float = 1.0) -> Shape:
    """The rep of the player with this seed: amplitudes within ±8 % and times within ±4 % of the table.

    `tempo` above 1 is quicker.
    """
    rng = np.random.default_rng([seed, 1])
    marks = {one: typical.scaled(rng.uniform(0.92, 1.08)) for one, typical in TYPICAL.items()}
    return Shape(
        marks=marks,
        share=SHARE * rng.uniform(0.95, 1.05),
        timing=TIMING[pace].scaled(rng.uniform(0.96, 1.04) / tempo),
        stall_at=rng.uniform(0.38, 0.47),
        arm=_typical_arm(seed),
    )


def _typical_arm(seed: int) -> Mapping[Channel, Marks]:
    # Drawn apart, so that the legs of a player do not depend on what the arm has.
    rng = np.random.default_rng([seed, 10])
    return {one: typical.scaled(rng.uniform(0.92, 1.08)) for one, typical in TYPICAL_ARM.items()}


def make_player(hand: Hand, pace: Pace, seed: int, *, height_m: float | None = None, tempo: float = 1.0) -> Player:
    """The invented player with this seed; a seed gives the same one, mirrored, for the other hand.

    `height_m` is the stature, else it comes from the seed; `tempo` above 1 is quicker. Raises UsageError for one that
    is not above 0.
    """
    if tempo <= 0 or (height_m is not None and height_m <= 0):
        raise UsageError(f"a player {height_m} m tall with tempo {tempo}", hint="both must be above 0")
    drawn = np.random.default_rng([seed, 2]).uniform(0.93, 1.07)
    size = drawn if height_m is None else height_m / STATURE_M
    return Player(hand, typical_shape(pace, seed, tempo), Body().scaled(size))


def rep_shape(shape: Shape, rng: np.random.Generator) -> Shape:
    """The same player once more: within ±2 %, from the same address."""
    marks = {one: _repeated(marks, rng.uniform(0.98, 1.02)) for one, marks in shape.marks.items()}
    return Shape(
        marks=marks,
        share=shape.share * rng.uniform(0.99, 1.01),
        timing=shape.timing.scaled(rng.uniform(0.99, 1.01)),
        stall_at=shape.stall_at * rng.uniform(0.97, 1.03),
        arm=shape.arm,
    )


def sized(shape: Shape, size: float) -> Shape:
    """The same rep with a part of its motion from the address on: 0.5 is a half swing."""
    if size == 1.0:
        return shape
    return replace(
        shape,
        marks={one: _part(marks, size) for one, marks in shape.marks.items()},
        arm={one: _part(marks, size) for one, marks in shape.arm.items()},
    )


def _part(marks: Marks, size: float) -> Marks:
    at = marks.address
    return Marks(at, *(at + size * (value - at) for value in (marks.top, marks.impact, marks.finish)))


def _repeated(marks: Marks, factor: float) -> Marks:
    return Marks(marks.address, *(value * factor for value in (marks.top, marks.impact, marks.finish)))
