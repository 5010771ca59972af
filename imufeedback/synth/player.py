"""The model player and others like it: who they are, how they swing, and how big they are.

A member of the players that `drawn` draws from published values, chosen so that the trail thigh angle falls as coaches
describe it (common practice, no source): from twenty-odd degrees at the top without a break to 0 and below, and it
never grows. What is chosen is inside those values' spread: a pelvis that stands up early, less bend in the trail knee
at impact. Seeds are players around it, within some of the published spread.

The table is written for both hands in trail and lead; a left-hander is the mirror image. Full-pace times: event labels
of 758 clips (McNally et al., CVPR Workshops 2019, arXiv 1903.06528), men: 0.83 and 0.250 s for the club; the pelvis
turns round some 0.035 s before it (from memory); 0.63 s to the finish.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from enum import StrEnum

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.records import Hand, Side
from imufeedback.synth import chain
from imufeedback.synth.legs import STRAIGHT_M, inputs, on_the_way_down, squared
from imufeedback.synth.plan import Channel
from imufeedback.synth.shape import STATURE_M, FootShape, Marks, Shape, Timing, in_si


class Pace(StrEnum):
    """How fast a rep is: a rehearsal, or a swing."""

    SLOW = "slow"
    FULL = "full"


TIMING = {Pace.FULL: Timing(0.84, 0.285, 0.60), Pace.SLOW: Timing(2.5, 3.0, 1.5)}

TYPICAL: Mapping[Channel, Marks] = {
    Channel.TURN: Marks(0, -43, 43, 90),
    Channel.SIDE_TILT: Marks(0, -8, 9, 5),
    Channel.FORWARD_TILT: Marks(13, 8.5, 2, -2.5),
    Channel.SWAY: Marks(0, -0.027, 0.075, 0.104),
    Channel.DEPTH: Marks(-0.06, -0.055, -0.045, 0.02),
    Channel.TRAIL_KNEE: Marks(20, 14.5, 27, 46),
    Channel.LEAD_KNEE: Marks(20, 30, 13, 10),
}
"""Pelvis and wanted knees of the model player, see `Shape`."""
PLAYERS: Mapping[Channel, Marks] = {
    Channel.TURN: Marks(0, 3.0, 4.0, 4.0),
    Channel.SIDE_TILT: Marks(0, 1.2, 1.5, 1.5),
    Channel.FORWARD_TILT: Marks(1.5, 1.0, 1.0, 1.5),
    Channel.SWAY: Marks(0, 0.006, 0.010, 0.012),
    Channel.DEPTH: Marks(0.004, 0.004, 0.005, 0.007),
    Channel.TRAIL_KNEE: Marks(2.0, 1.0, 2.0, 4.0),
    Channel.LEAD_KNEE: Marks(0, 0, 2.0, 2.0),
}
"""Standard deviation between players: a third to a half of what `drawn` has, so that most of them swing well."""
REPS: Mapping[Channel, Marks] = {
    Channel.TURN: Marks(0, 1.0, 1.0, 1.5),
    Channel.SIDE_TILT: Marks(0, 0.4, 0.4, 0.4),
    Channel.FORWARD_TILT: Marks(0, 0.4, 0.4, 0.6),
    Channel.SWAY: Marks(0, 0.002, 0.003, 0.003),
    Channel.DEPTH: Marks(0, 0.002, 0.002, 0.002),
    Channel.TRAIL_KNEE: Marks(0, 0.7, 0.8, 1.5),
    Channel.LEAD_KNEE: Marks(0, 0, 0.8, 1.0),
}
"""From rep to rep: half of what `drawn` has."""
ADDRESSES: Mapping[Channel, float] = {
    Channel.SIDE_TILT: 0.8,
    Channel.FORWARD_TILT: 0.8,
    Channel.SWAY: 0.004,
    Channel.DEPTH: 0.003,
    Channel.TRAIL_KNEE: 1.0,
    Channel.LEAD_KNEE: 1.0,
}
"""From address to address of one player who steps in anew …"""
STEP_FLARE_SD_DEG, STEP_STANCE_SD_M = 1.0, 0.008
"""… and of how the feet are put down. Chosen, no source."""
UNEVEN_SHARE_SD, UNEVEN_RATE_SD = 0.03, 0.2
"""Of the middle of a part of a rep that lasts `UNEVEN_S` or longer: how far it is from where an even one is, and how
much quicker; less in proportion for a shorter one. Chosen, no source."""
UNEVEN_S = 2.5
STANCE_M = 0.42
LEAD = FootShape(flare=15.0, give=0.60, pivot=Marks(0, 0, 3, 32))
TRAIL = FootShape(flare=12.0, give=0.92, pivot=Marks(0, 0, 8, 32))
GIVE_SD, FLARE_SD_DEG, REP_GIVE_SD = 0.08, 3.0, 0.01
TIME_SD = Timing(0.06, 0.03, 0.06)
"""Of players, and half of it from rep to rep; parts."""
FALLS = -0.15
"""A good rep's trail thigh angle falls by at least this for the turn, until it is below `DONE_RAD`."""
DONE_RAD = float(np.deg2rad(-0.5))
THIGH_TOP_RAD = float(np.deg2rad(22.0)), float(np.deg2rad(31.0))
SETTLES = 0.019
"""Part of the turn over which the angle need not fall yet."""
THROUGH_RAD = float(np.deg2rad(40.0))
"""Most of a thigh angle that is lost from address to finish."""
STRAIGHTENS = -0.05
"""The lead knee loses at least this for the turn about impact."""
DRAWS = 500
"""So often is a rep drawn that shall be a good one."""

TYPICAL_ARM: Mapping[Channel, Marks] = {
    Channel.TORSO_TILT: Marks(20, 20, 20, 5),
    Channel.TORSO_TURN: Marks(0, -45, -10, 15),
    Channel.ARM_FLEXION: Marks(45, 70, 45, 80),
    Channel.ARM_ADDUCTION: Marks(8, 40, 8, -20),
    Channel.ELBOW: Marks(5, 10, 5, 60),
    Channel.FOREARM_ROTATION: Marks(0, 60, 0, -45),
}
"""Trunk and lead arm; common practice, no source."""


@dataclass(frozen=True, slots=True)
class BodySizes:
    """Sizes, in metres, of a player of `STATURE_M`.

    Legs as in `chain`; upper arm and forearm are 0.186 and 0.146 of the stature (Drillis & Contini 1966, as in Winter,
    Biomechanics and Motor Control of Human Movement; from memory); shoulders and trunk are chosen.
    """

    half_hip_width_m: float = chain.HALF_HIP * STATURE_M
    """Pelvis origin (midway between the hip centres) to a hip centre."""
    hip_height_m: float = STRAIGHT_M
    """Of the pelvis origin in quiet standing."""
    thigh_m: float = chain.THIGH * STATURE_M
    shank_m: float = chain.SHANK * STATURE_M
    trunk_m: float = 0.43
    """Pelvis origin to the line between the shoulders."""
    half_shoulder_width_m: float = 0.195
    upper_arm_m: float = 0.326
    forearm_m: float = 0.256

    def scaled(self, factor: float) -> BodySizes:
        return BodySizes(*(factor * getattr(self, one.name) for one in fields(self)))

    def hip_centre_m(self, side: Side) -> tuple[float, float, float]:
        """In pelvis axes."""
        return 0.0, 0.0, self.half_hip_width_m if side is Side.RIGHT else -self.half_hip_width_m

    def shoulder_m(self, side: Side) -> tuple[float, float, float]:
        """In trunk axes, from the pelvis origin."""
        return 0.0, self.trunk_m, self.half_shoulder_width_m if side is Side.RIGHT else -self.half_shoulder_width_m


@dataclass(frozen=True, slots=True)
class InventedPlayer:
    """Handedness, size and the typical rep of one invented player."""

    hand: Hand
    shape: Shape
    body: BodySizes = field(default_factory=BodySizes)


def make_player(
    hand: Hand, pace: Pace, seed: int, *, height_m: float | None = None, tempo: float = 1.0
) -> InventedPlayer:
    """The invented player with this seed; a seed gives the same one, mirrored, for the other hand.

    `height_m` is the stature, else it comes from the seed; `tempo` above 1 is quicker. Raises UsageError for one that
    is not above 0.
    """
    if tempo <= 0 or (height_m is not None and height_m <= 0):
        raise UsageError(f"a player {height_m} m tall with tempo {tempo}", hint="both must be above 0")
    drawn = np.random.default_rng([seed, 2]).uniform(0.92, 1.06)
    size = drawn if height_m is None else height_m / STATURE_M
    return InventedPlayer(hand, replace(typical_shape(pace, seed, tempo), size=size), BodySizes().scaled(size))


def typical_shape(pace: Pace, seed: int, tempo: float = 1.0) -> Shape:
    """The rep of the player with this seed. `tempo` above 1 is quicker."""
    rng = np.random.default_rng([seed, 1])
    quick = TIMING[pace].scaled(1 / tempo)
    for _ in range(DRAWS):
        lead_give, trail_give = (GIVE_SD * rng.standard_normal(2)).tolist()
        lead_flare, trail_flare = (FLARE_SD_DEG * rng.standard_normal(2)).tolist()
        shape = squared(
            Shape(
                marks={one: _drawn(rng, marks, PLAYERS[one]) for one, marks in TYPICAL.items()},
                lead=replace(LEAD, give=LEAD.give + lead_give, flare=LEAD.flare + lead_flare),
                trail=replace(TRAIL, give=TRAIL.give + trail_give, flare=TRAIL.flare + trail_flare),
                stance_m=STANCE_M,
                timing=_timed(rng, quick, 1.0),
                stall_at=float(rng.uniform(0.38, 0.47)),
                arm=_typical_arm(seed),
            )
        )
        if is_good(shape):
            break
    return shape


def rep_shape(shape: Shape, rng: np.random.Generator) -> Shape:
    """The same player once more, from the same address."""
    for _ in range(DRAWS):
        give = REP_GIVE_SD * rng.standard_normal(2)
        rep = replace(
            shape,
            marks={one: _drawn(rng, marks, REPS[one]) for one, marks in shape.marks.items()},
            lead=replace(shape.lead, give=shape.lead.give + float(give[0])),
            trail=replace(shape.trail, give=shape.trail.give + float(give[1])),
            timing=_timed(rng, shape.timing, 0.5),
            stall_at=shape.stall_at * float(rng.uniform(0.97, 1.03)),
        )
        if is_good(rep):
            break
    return rep


def stepped_in(shape: Shape, rng: np.random.Generator) -> Shape:
    """The same player at another address, whose next rep goes at an uneven pace. Both hips' rotation is 0 there too."""
    for _ in range(DRAWS):
        z = np.clip(rng.standard_normal(len(ADDRESSES) + 3), -2.0, 2.0).tolist()
        marks = dict(shape.marks)
        for (channel, sd), off in zip(ADDRESSES.items(), z, strict=False):
            marks[channel] = replace(marks[channel], address=marks[channel].address + sd * off)
        lead, trail, stance = z[-3:]
        stepped = squared(
            replace(
                shape,
                marks=marks,
                lead=replace(shape.lead, flare=shape.lead.flare + STEP_FLARE_SD_DEG * lead),
                trail=replace(shape.trail, flare=shape.trail.flare + STEP_FLARE_SD_DEG * trail),
                stance_m=shape.stance_m + STEP_STANCE_SD_M * stance,
            )
        )
        if is_good(stepped):
            break
    timing = shape.timing
    return replace(
        stepped, uneven=tuple(_uneven(rng, part_s) for part_s in (timing.back_s, timing.down_s, timing.through_s))
    )


def _uneven(rng: np.random.Generator, part_s: float) -> tuple[float, float]:
    share, rate = (min(part_s / UNEVEN_S, 1.0) * np.clip(rng.standard_normal(2), -2.0, 2.0)).tolist()
    return UNEVEN_SHARE_SD * share, UNEVEN_RATE_SD * rate


def is_good(shape: Shape) -> bool:
    """Both legs reach the ground, and the trail thigh angle falls as coaches describe it, the lead knee
    straightens through impact."""
    way = on_the_way_down(inputs(shape))
    turn, thigh, knee = way.turn, way.trail_thigh, way.lead_knee
    low, high = THIGH_TOP_RAD
    due = (np.minimum.accumulate(thigh) > DONE_RAD) & (turn > turn[0] + SETTLES * (turn[-1] - turn[0]))
    falls = np.gradient(thigh, turn)[due].max() < FALLS
    impact = np.searchsorted(turn, in_si(Channel.TURN, shape.marks[Channel.TURN]).impact)
    straightens = np.gradient(knee, turn)[impact - 4 : impact + 2].max() < STRAIGHTENS
    through = way.address_thigh - thigh[-1]
    return way.stands and low < thigh[0] < high and thigh[-1] < 0 and through < THROUGH_RAD and falls and straightens


def sized(shape: Shape, size: float) -> Shape:
    """The same rep with a part of its motion from the address on: 0.5 is a half swing."""
    if size == 1.0:
        return shape
    return replace(
        shape,
        marks={one: _part(marks, size) for one, marks in shape.marks.items()},
        lead=replace(shape.lead, pivot=_part(shape.lead.pivot, size)),
        trail=replace(shape.trail, pivot=_part(shape.trail.pivot, size)),
        arm={one: _part(marks, size) for one, marks in shape.arm.items()},
    )


def _part(marks: Marks, size: float) -> Marks:
    at = marks.address
    return Marks(at, *(at + size * (value - at) for value in (marks.top, marks.impact, marks.finish)))


def _drawn(rng: np.random.Generator, marks: Marks, sd: Marks) -> Marks:
    z = np.clip(rng.standard_normal(4), -2.0, 2.0).tolist()
    return Marks(
        marks.address + sd.address * z[0],
        marks.top + sd.top * z[1],
        marks.impact + sd.impact * z[2],
        marks.finish + sd.finish * z[3],
    )


def _timed(rng: np.random.Generator, timing: Timing, share: float) -> Timing:
    back, down, through = np.exp(
        share * np.clip(rng.standard_normal(3), -2.0, 2.0) * [TIME_SD.back_s, TIME_SD.down_s, TIME_SD.through_s]
    ).tolist()
    return Timing(timing.back_s * back, timing.down_s * down, timing.through_s * through)


def _typical_arm(seed: int) -> Mapping[Channel, Marks]:
    # Drawn apart, so that the legs of a player do not depend on what the arm has.
    rng = np.random.default_rng([seed, 10])
    return {one: typical.scaled(rng.uniform(0.92, 1.08)) for one, typical in TYPICAL_ARM.items()}
