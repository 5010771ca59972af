"""What a player does between two reps: walks up, bends for a ball, sways, stands about, waggles at address.

Every piece begins and ends at rest, in quiet standing or at address. Nothing here is measured from a person: amplitudes
are those of ordinary walking (hip flexion: Schwartz et al., J Biomech 2008;41:1639-50, excursion 42°; ours is 50), the
rest is chosen. Feet are not held to the ground.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple

import numpy as np

from imufeedback.synth.legs import Lean
from imufeedback.synth.plan import STANDING, Channel, Piece, Posture, hold, move
from imufeedback.synth.profile import Constant, Profile, Spline, Wave

HEADING_LIMIT_RAD = float(np.deg2rad(60.0))
STRIDE_S, STRIDE_M = 1.1, 1.3
"""One step of each leg: ordinary walking, from memory."""
WAGGLES = 0.6
"""Part of the reps before which who is alive waggles. Chosen."""
HANDS_LAG_RAD = 0.7
"""The club's inertia keeps the hands behind the hips in a waggle. Chosen."""
LEG_M = 0.84
"""Hip to foot; turns a sway of the pelvis into an angle of the legs."""


class Interlude(StrEnum):
    """What is done."""

    WALK = "walk"
    BEND = "bend"
    """Down for a ball or a tee: hips at 90°, knees bent."""
    SWAY = "sway"
    """Side to side, as practice."""
    STAND = "stand"
    """About, never quite still."""
    WAGGLE = "waggle"
    """At address."""
    LOOK = "look"
    """At the target, from address: the pelvis goes with it a little."""
    BACK_AND_HOME = "back-and-home"
    """A little way back from address, and home again: no swing comes of it."""


class Busy(NamedTuple):
    """One of them, from and to in seconds of session time."""

    kind: Interlude
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Spot:
    """Where the player stands and faces."""

    ahead_m: float = 0.0
    across_m: float = 0.0
    heading_rad: float = 0.0


class Between:
    """Makes the pieces between the reps of one session, and keeps where the player is; nothing when not `busy`, but for
    a waggle now and then of one who is `alive`."""

    def __init__(self, seed: int, busy: bool, alive: bool = False) -> None:
        self._seed = seed
        self._busy = busy
        self._alive = alive
        self._spot = Spot()
        self.done: list[Busy] = []

    def before(self, rep: int, start_s: float) -> list[Piece]:
        """From standing at the old place to standing at the new one; all kinds before the first rep."""
        if not self._busy:
            return []
        rng = np.random.default_rng([self._seed, 7, rep])
        bends, sways, stands = rng.uniform(size=3) < np.array([0.7, 0.4, 0.6]) if rep else (True, True, True)
        out = self._noted(Interlude.STAND, self.at_spot([stood(rng, start_s)])) if stands else []
        out += self._walk(rng, out[-1].end_s if out else start_s)
        if bends:
            out += self._noted(Interlude.BEND, self.at_spot(bent(rng, out[-1].end_s)))
        if sways:
            out += self._noted(Interlude.SWAY, self.at_spot([swayed(rng, out[-1].end_s)]))
        return out

    def waggle(self, rep: int, start_s: float, address: Posture, lean: Lean) -> list[Piece]:
        """At address, and still there in the end."""
        rng = np.random.default_rng([self._seed, 11, rep])
        if not self._busy and not (self._alive and rng.uniform() < WAGGLES):
            return []
        return self._noted(Interlude.WAGGLE, self.at_spot([waggled(rng, start_s, address, lean)]))

    def at_address(self, rep: int, start_s: float, address: Posture) -> list[Piece]:
        """Looks at the target and begins a backswing that is given up; still at address in the end."""
        rng = np.random.default_rng([self._seed, 13, rep])
        out = self._noted(Interlude.LOOK, self.at_spot(_there_and_home(rng, start_s, address, (4.0, 14.0))))
        if rng.uniform() < 0.6:
            back = _there_and_home(rng, out[-1].end_s, address, (-26.0, -8.0))
            out += self._noted(Interlude.BACK_AND_HOME, self.at_spot(back))
        return out

    def at_spot(self, pieces: list[Piece]) -> list[Piece]:
        """The same pieces where the player is now."""
        if not self._busy:
            return pieces
        place = {
            Channel.AHEAD: Constant(self._spot.ahead_m),
            Channel.ACROSS: Constant(self._spot.across_m),
            Channel.HEADING: Constant(self._spot.heading_rad),
        }
        return [Piece(one.start_s, one.end_s, {**one.profiles, **place}) for one in pieces]

    def _walk(self, rng: np.random.Generator, start_s: float) -> list[Piece]:
        piece, self._spot = walked(self._spot, rng, start_s)
        return self._noted(Interlude.WALK, [piece])

    def _noted(self, kind: Interlude, pieces: list[Piece]) -> list[Piece]:
        self.done.append(Busy(kind, pieces[0].start_s, pieces[-1].end_s))
        return pieces


def walked(spot: Spot, rng: np.random.Generator, start_s: float) -> tuple[Piece, Spot]:
    """5 to 8 strides on, along the middle of the old direction and the new one."""
    strides = int(rng.integers(5, 9))
    end_s = start_s + strides * STRIDE_S
    heading = float(rng.uniform(-HEADING_LIMIT_RAD, HEADING_LIMIT_RAD))
    middle = (spot.heading_rad + heading) / 2
    reached = (strides - 1) * STRIDE_M
    there = Spot(spot.ahead_m + reached * np.cos(middle), spot.across_m + reached * np.sin(middle), heading)
    place = {
        Channel.AHEAD: _travel(spot.ahead_m, there.ahead_m, start_s, end_s),
        Channel.ACROSS: _travel(spot.across_m, there.across_m, start_s, end_s),
        Channel.HEADING: Spline.eased((start_s, spot.heading_rad), (end_s, heading)),
    }
    return Piece(start_s, end_s, {**_gait(start_s, end_s), **place}), there


def bent(rng: np.random.Generator, start_s: float) -> list[Piece]:
    """Down, a moment there, up."""
    down_s, there_s, up_s = rng.uniform([0.9, 0.4, 0.9], [1.5, 1.2, 1.5]).tolist()
    reached, left = start_s + down_s, start_s + down_s + there_s
    return [
        move(start_s, reached, STANDING, BENT),
        hold(reached, left, BENT),
        move(left, left + up_s, BENT, STANDING),
    ]


def swayed(rng: np.random.Generator, start_s: float) -> Piece:
    """The pelvis from side to side over feet that stay."""
    hz, cycles = float(rng.uniform(0.3, 0.5)), int(rng.integers(2, 5))
    metres = float(rng.uniform(0.03, 0.06))
    turn = float(np.deg2rad(rng.uniform(3, 8)))
    return _waves(
        start_s,
        start_s + cycles / hz,
        hz,
        {
            Channel.SWAY: metres,
            Channel.LEAD_ADDUCTION: metres / LEG_M,
            Channel.TRAIL_ADDUCTION: -metres / LEG_M,
            **_turned(turn),
        },
    )


def stood(rng: np.random.Generator, start_s: float) -> Piece:
    """Weight from leg to leg, a look around."""
    hz = float(rng.uniform(0.15, 0.3))
    duration_s = float(rng.uniform(3, 9))
    turn, tilt, lean, knee = np.deg2rad(rng.uniform([2, 1, 1, 2], [10, 4, 4, 8])).tolist()
    return _waves(
        start_s,
        start_s + duration_s,
        hz,
        {
            **_turned(turn),
            Channel.SIDE_TILT: tilt,
            Channel.FORWARD_TILT: lean,
            Channel.TRAIL_FLEXION: lean,
            Channel.LEAD_FLEXION: lean,
            Channel.TRAIL_KNEE: knee,
        },
    )


def waggled(rng: np.random.Generator, start_s: float, address: Posture, lean: Lean) -> Piece:
    """Small turns back and forth at address; hands more than hips."""
    hz, cycles = float(rng.uniform(0.8, 1.4)), int(rng.integers(2, 5))
    turn, hands = np.deg2rad(rng.uniform([3, 8], [8, 20])).tolist()
    piece = _waves(start_s, start_s + cycles / hz, hz, lean.moved(turn=turn), address)
    held = {Channel.ARM_ADDUCTION: -hands, Channel.FOREARM_ROTATION: -hands}
    arms = _waves(start_s, piece.end_s, hz, held, address, phase=-HANDS_LAG_RAD)
    return Piece(start_s, piece.end_s, {**piece.profiles, **{one: arms.profiles[one] for one in held}})


def _there_and_home(
    rng: np.random.Generator, start_s: float, address: Posture, turn_deg: tuple[float, float]
) -> list[Piece]:
    """Turned from address, a moment there, back."""
    turn = float(np.deg2rad(rng.uniform(*turn_deg)))
    there = {**address, **{one: address.get(one, 0.0) + by for one, by in _turned(turn).items()}}
    go_s, stay_s, home_s, after_s = rng.uniform([0.5, 0.2, 0.5, 0.5], [1.5, 1.0, 1.5, 2.0]).tolist()
    reached = start_s + go_s
    left = reached + stay_s
    home = left + home_s
    return [
        move(start_s, reached, address, there),
        hold(reached, left, there),
        move(left, home, there, address),
        hold(home, home + after_s, address),
    ]


BENT: Posture = {
    **dict.fromkeys((Channel.TRAIL_FLEXION, Channel.LEAD_FLEXION), float(np.deg2rad(90))),
    **dict.fromkeys((Channel.TRAIL_KNEE, Channel.LEAD_KNEE), float(np.deg2rad(80))),
    Channel.FORWARD_TILT: float(np.deg2rad(50)),
    Channel.HEIGHT: -0.20,
    Channel.DEPTH: -0.05,
    Channel.TORSO_TILT: float(np.deg2rad(30)),
    Channel.ARM_FLEXION: float(np.deg2rad(90)),
}


def _turned(turn: float) -> dict[Channel, float]:
    """Pelvis turn over feet that stay: the hips take it up."""
    return {Channel.TURN: turn, Channel.LEAD_ROTATION: turn, Channel.TRAIL_ROTATION: -turn}


def _waves(
    start_s: float,
    end_s: float,
    hz: float,
    amplitudes: Mapping[Channel, float],
    around: Posture = STANDING,
    phase: float = 0.0,
) -> Piece:
    """Channels that swing about a posture, from rest to rest."""
    envelope = Spline.up_and_down(start_s, end_s, min(1 / hz, 0.4 * (end_s - start_s)))
    profiles: dict[Channel, Profile] = {channel: Constant(value) for channel, value in around.items()}
    for channel, amplitude in amplitudes.items():
        profiles[channel] = Wave(envelope, hz, start_s, amplitude, phase, offset=around.get(channel, 0.0))
    return Piece(start_s, end_s, profiles)


def _gait(start_s: float, end_s: float) -> dict[Channel, Profile]:
    """Legs against each other; a knee bends while its thigh comes forward; the pelvis goes with the forward leg."""
    hz = 1 / STRIDE_S
    envelope = Spline.up_and_down(start_s, end_s, STRIDE_S / 2)

    def wave(degrees: float, phase: float = 0.0, mean: float = 0.0, times: int = 1) -> Wave:
        rad, middle = np.deg2rad([degrees, mean]).tolist()
        return Wave(envelope, times * hz, start_s, rad, phase, middle)

    ahead = np.pi / 2
    return {
        Channel.LEAD_FLEXION: wave(25),
        Channel.TRAIL_FLEXION: wave(-25),
        Channel.LEAD_KNEE: wave(25, ahead, 30),
        Channel.TRAIL_KNEE: wave(-25, ahead, 30),
        Channel.TURN: wave(-5),
        Channel.SIDE_TILT: wave(4, ahead),
        Channel.LEAD_ADDUCTION: wave(4, ahead),
        Channel.TRAIL_ADDUCTION: wave(-4, ahead),
        Channel.HEIGHT: Wave(envelope, 2 * hz, start_s, 0.02, ahead, -0.02),
        Channel.ARM_FLEXION: wave(-20),
        Channel.ELBOW: wave(10, ahead, 20),
    }


def _travel(before: float, after: float, start_s: float, end_s: float) -> Spline:
    """Evenly, but for the first and the last stride."""
    speed = (after - before) / (end_s - start_s - STRIDE_S)
    ramps = [(start_s, 0.0), (start_s + STRIDE_S, speed), (end_s - STRIDE_S, speed), (end_s, 0.0)]
    return Spline.from_rates(before, ramps)
