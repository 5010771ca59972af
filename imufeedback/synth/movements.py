"""The calibration movements as people perform them: seeded, each a little different, and some spoiled.

Those of `script.py` are exact. Here the knee goes up a little sideways and turned, the pelvis follows, the
weight goes over the standing leg, the body sways, the hips go back in the bow, and the tempo is the player's own. The
spreads are chosen; no source says how people perform this. Feet stay about where they are.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

import numpy as np

from imufeedback.records import Hand, Segment, Side
from imufeedback.synth.alive import Manner
from imufeedback.synth.between_reps import Spot, walked
from imufeedback.synth.plan import STANDING, Channel, Piece, Posture, leg

Window: TypeAlias = tuple[float, float]
"""From and to, seconds."""

LEG_M = 0.85
SIDEWAYS_SD_DEG, TURNED_SD_DEG = 2.5, 4.0
"""Of a lifted knee from straight ahead, and of the thigh about its own axis; between people and from lift to lift."""
TAIL_S = 14.0
"""Standing after a performance that lacks something, until it must have been said."""


@dataclass(frozen=True, slots=True)
class MovementWindows:
    """Where the calibration movements are; ``flex`` is a turn about the segment's z axis, by segment."""

    still: Window
    flex: dict[Segment, Window]


class Spoil(StrEnum):
    """What goes wrong."""

    MOVED = "moved while standing"
    SIDEWAYS = "sideways lift"
    SAME_SIDE = "same side twice"
    WALKED = "walking instead"
    LOOSE = "sensor loose"
    OFF = "sensor off"
    SAT = "sat down"
    NO_BOW = "no bow"


@dataclass
class Style:
    """How one player performs."""

    rng: np.random.Generator
    hand: Hand
    tempo: float
    lift_rad: float
    knee_more_rad: float
    back_tilt_rad: float
    hike_rad: float
    sway_m: float
    bow_rad: float
    hips_back_m: float
    sideways_rad: dict[Side, float]
    turned_rad: dict[Side, float]

    @classmethod
    def drawn(cls, seed: int, hand: Hand) -> Style:
        rng = np.random.default_rng([seed, 21])
        low, high = np.deg2rad([[55, 10, 1, 0, 30], [85, 40, 8, 5, 60]])
        lift, knee, tilt, hike, bow = rng.uniform(low, high).tolist()
        sideways, turned = (
            dict(zip(Side, np.deg2rad(sd * rng.standard_normal(2)).tolist(), strict=True))
            for sd in (SIDEWAYS_SD_DEG, TURNED_SD_DEG)
        )
        return cls(
            rng=rng,
            hand=hand,
            tempo=float(rng.uniform(0.75, 1.35)),
            lift_rad=lift,
            knee_more_rad=knee,
            back_tilt_rad=tilt,
            hike_rad=hike,
            sway_m=float(rng.uniform(0.03, 0.08)),
            bow_rad=bow,
            hips_back_m=float(rng.uniform(0.04, 0.12)),
            sideways_rad=sideways,
            turned_rad=turned,
        )

    def lifted(self, side: Side) -> Posture:
        """Knee up, weight over the other leg."""
        rng, left_is_lead = self.rng, 1.0 if self.hand is Hand.RIGHT else -1.0
        flexion, adduction, rotation, knee = leg(side, self.hand)
        other_flexion, other_adduction, _, _ = leg(side.other, self.hand)
        lift = self.lift_rad * rng.uniform(0.93, 1.07)
        aside = self.sideways_rad[side] + np.deg2rad(1.0) * rng.standard_normal()
        turned = self.turned_rad[side] + np.deg2rad(1.5) * rng.standard_normal()
        hike = self.hike_rad * rng.uniform(0.7, 1.3)
        sway = self.sway_m * rng.uniform(0.8, 1.2)
        lifted_left = 1.0 if side is Side.LEFT else -1.0  # side tilt counts lead side up, sway towards the lead side
        return {
            flexion: lift * np.cos(aside) - self.back_tilt_rad,
            adduction: -float(np.arcsin(np.sin(aside) * np.sin(lift))),
            rotation: turned,
            knee: lift + self.knee_more_rad,
            other_flexion: -self.back_tilt_rad,
            other_adduction: sway / LEG_M - hike,
            Channel.FORWARD_TILT: -self.back_tilt_rad,
            Channel.SIDE_TILT: hike * lifted_left * left_is_lead,
            Channel.TURN: float(np.deg2rad(1.5) * rng.standard_normal()),
            Channel.SWAY: -sway * lifted_left * left_is_lead,
        }

    def bowed(self) -> Posture:
        """Forward with nearly straight legs, the hips back over the feet."""
        bow = self.bow_rad * self.rng.uniform(0.93, 1.07)
        back = self.hips_back_m * self.rng.uniform(0.9, 1.1)
        bent = float(np.deg2rad(self.rng.uniform(0, 8)))
        tilt, turn = np.deg2rad([1.5, 2.0]) * self.rng.standard_normal(2)
        uneven = np.deg2rad([1.0, 1.5]) * self.rng.standard_normal(2)
        hips, knees = (
            {leg(side, self.hand)[k]: angle + sign * off for side, sign in zip(Side, (1, -1), strict=True)}
            for k, angle, off in ((0, bow + back / LEG_M, uneven[0]), (3, bent, uneven[1]))
        )
        around = {Channel.FORWARD_TILT: bow, Channel.SIDE_TILT: float(tilt), Channel.TURN: float(turn)}
        return {**around, Channel.DEPTH: -back, **hips, **knees}


@dataclass
class Performing:
    """Pieces as they come."""

    style: Style
    pieces: list[Piece] = field(default_factory=list)

    @property
    def manner(self) -> Manner:
        return Manner(self.style.rng)

    @property
    def now_s(self) -> float:
        return self.pieces[-1].end_s if self.pieces else 0.0

    def stand(self, seconds: float) -> None:
        """As still as people stand: the whole body sways over the feet."""
        self.stay(STANDING, seconds)

    def go(self, before: Posture, after: Posture, seconds: float) -> None:
        t = self.now_s
        self.pieces.append(self.manner.go(t, t + seconds / self.style.tempo, before, after))

    def stay(self, posture: Posture, seconds: float) -> None:
        self.pieces.append(self.manner.stay(self.now_s, self.now_s + seconds, posture))

    def lift(self, side: Side, times: int = 2) -> None:
        for _ in range(times):
            there = self.style.lifted(side)
            self._there_and_back(there, float(self.style.rng.uniform(0.6, 0.8)), 0.1)

    def bow(self, times: int = 2) -> None:
        for _ in range(times):
            self._there_and_back(self.style.bowed(), float(self.style.rng.uniform(0.95, 1.25)), 0.25)

    def _there_and_back(self, there: Posture, seconds: float, held_s: float) -> None:
        self.go(STANDING, there, seconds)
        self.stay(there, held_s)
        self.go(there, STANDING, seconds)
        self.stand(float(self.style.rng.uniform(0.25, 0.6)) / self.style.tempo)

    def pause(self) -> None:
        self.stand(float(self.style.rng.uniform(0.3, 1.0)) / self.style.tempo)


def performed(course: Performing, spoil: Spoil | None = None) -> MovementWindows:
    style = course.style
    if spoil is Spoil.MOVED:
        _fidget(course)
    else:
        course.stand(float(style.rng.uniform(3.0, 4.2)))
    still = (0.3, course.now_s - 0.3)
    if spoil is Spoil.SIDEWAYS:
        which = style.rng.integers(3)  # the right one, the left one, both
        for k, side in enumerate((Side.RIGHT, Side.LEFT)):
            if which in (k, 2):
                style.sideways_rad[side] = float(np.deg2rad(style.rng.uniform(35, 80)))
    if spoil is Spoil.WALKED:
        course.pieces.append(walked(Spot(), style.rng, course.now_s)[0])
        return MovementWindows(still, {})
    flex: dict[Segment, Window] = {}
    sits_after = int(style.rng.integers(4)) if spoil is Spoil.SAT else None
    sides = (Side.RIGHT, Side.LEFT) if spoil is not Spoil.SAME_SIDE else (Side(style.rng.choice(list(Side))),) * 2
    for k, side in enumerate(sides):
        if sits_after == k:
            return _sat(course, still, flex)
        begin_s = course.now_s
        course.lift(side)
        flex |= dict.fromkeys((Segment.thigh(side), Segment.shank(side)), (begin_s, course.now_s))
        course.pause()
    if spoil is Spoil.NO_BOW:
        return MovementWindows(still, flex)
    if sits_after == 2:
        return _sat(course, still, flex)
    begin_s = course.now_s
    course.bow()
    flex[Segment.PELVIS] = (begin_s, course.now_s)
    if sits_after == 3:
        return _sat(course, still, flex)
    course.stand(3.0)
    return MovementWindows(still, flex)


def _fidget(course: Performing) -> None:
    """Never still for two seconds: weight from leg to leg with a look around, or a slow turn half way."""
    rng = course.style.rng
    if rng.uniform() < 0.4:
        turn = float(np.deg2rad(rng.uniform(6.0, 12.0)))
        course.stand(1.0)
        course.go(STANDING, {Channel.TURN: turn}, 2.0 * course.style.tempo)
        course.stay({Channel.TURN: turn}, 0.8)
        course.go({Channel.TURN: turn}, STANDING, 1.5)
        return
    for sign in (1, -1, 1, -1):
        tilt, turn, sway = np.deg2rad(rng.uniform(2, 5)), np.deg2rad(rng.uniform(4, 10)), rng.uniform(0.02, 0.05)
        there: Posture = {
            Channel.SIDE_TILT: sign * float(tilt),
            Channel.TURN: sign * float(turn),
            Channel.SWAY: sign * float(sway),
        }
        course.go(STANDING, there, 0.6)
        course.go(there, STANDING, 0.6)


def _sat(course: Performing, still: Window, flex: dict[Segment, Window]) -> MovementWindows:
    """Down onto a chair, and there to the end."""
    rng = course.style.rng
    back = float(np.deg2rad(rng.uniform(5, 25)))
    thigh = float(np.deg2rad(rng.uniform(75, 95)))
    hips = {leg(side, course.style.hand)[0]: thigh - back for side in Side}
    knees = {leg(side, course.style.hand)[3]: thigh for side in Side}
    seated: Posture = {Channel.FORWARD_TILT: -back, Channel.DEPTH: -0.40, Channel.HEIGHT: -0.42, **hips, **knees}
    course.go(STANDING, seated, float(rng.uniform(1.0, 1.8)))
    course.stay(seated, TAIL_S)
    course.go(seated, STANDING, 1.2)
    return MovementWindows(still, flex)
