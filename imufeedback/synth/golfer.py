"""Player and plan -> pose: orientation, motion and clinical angles of every segment, exact at any instants.

Axes and signs, worked out with the right-hand rule (earth: x ahead, y left, z up; segments: x anterior, y up, z right):

* pelvis ``R = Ry(yaw) · Rx(obliquity) · Rz(-forward tilt)`` from a body that stands upright (Baker, Gait Posture
  2001;13:1-6). ``Ry(+)`` carries z (right) towards x (ahead): the right side goes forward, a turn to the left, which is
  towards the target for a right-hander. ``Rx(+)`` carries y (up) towards z (right) and z (right) towards -y (down): the
  right side goes down, the left side up, and left is the lead side of a right-hander. So turn and side tilt are yaw and
  obliquity for a right-hander and their negatives for a left-hander. ``Rz(-tilt)`` carries y (up) towards x (ahead);
* hip ``R = Rz(flexion) · Rx(adduction) · Ry(internal rotation)`` for the right leg, the last two negated for the left
  (Grood & Suntay 1983; Wu et al. 2002);
* knee ``R = Rz(-flexion)``: a hinge.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.errors import UsageError
from imufeedback.records import Floats, Hand, Segment, Side
from imufeedback.synth.kinematics import Frame, X, Y, Z, upright
from imufeedback.synth.plan import Channel, Plan, leg
from imufeedback.synth.player import Player
from imufeedback.synth.profile import Course

SEGMENTS = (
    Segment.PELVIS,
    Segment.LEFT_THIGH,
    Segment.RIGHT_THIGH,
    Segment.LEFT_SHANK,
    Segment.RIGHT_SHANK,
)
"""The segments this golfer has."""


@dataclass(frozen=True, slots=True)
class TruthPose:
    """The body at N instants."""

    t_s: Floats
    frames: Mapping[Segment, Frame]
    """Origins: pelvis midway between the hip centres, thigh at its hip centre, shank at its knee."""
    pelvis_rad: Floats
    """(N, 3) turn, side tilt, forward tilt, as `PelvisAngles`."""
    pelvis_rate_rad_s: Floats
    hip_rad: Mapping[Side, Floats]
    """(N, 3) flexion, adduction, internal rotation, as `JointAngles`."""
    hip_rate_rad_s: Mapping[Side, Floats]
    knee_rad: Mapping[Side, Floats]
    """(N, 3) the same; a hinge, so only flexion is other than 0."""
    knee_rate_rad_s: Mapping[Side, Floats]

    def q_eb(self, segment: Segment) -> Floats:
        """(N, 4) segment to earth, scalar first. All segments share one earth here."""
        return self.frames[segment].q_eb


class Golfer:
    """A player who does what a plan says."""

    def __init__(self, player: Player, plan: Plan) -> None:
        self.player = player
        self.plan = plan

    def pose(self, t_s: Floats, segments: Collection[Segment] = SEGMENTS) -> TruthPose:
        """The body at the instants ``t_s`` (N,) of session time: all angles, and the frames of `segments`.

        Raises UsageError for a segment that this golfer does not have.
        """
        missing = [one for one in segments if one not in SEGMENTS]
        if missing:
            raise UsageError(f"the synthetic golfer has no {missing[0]}", hint=f"choose from {', '.join(SEGMENTS)}")
        courses = self.plan.courses(np.asarray(t_s, dtype=np.float64))
        return _with_angles(t_s, self._frames(courses, segments), courses, self.player.hand)

    def _frames(self, courses: Mapping[Channel, Course], segments: Collection[Segment]) -> dict[Segment, Frame]:
        if not segments:  # angles alone are wanted often, and cost much less
            return {}
        frames = {Segment.PELVIS: _pelvis(courses, self.player)}
        for side in Side:
            if Segment.thigh(side) in segments or Segment.shank(side) in segments:
                frames[Segment.thigh(side)] = _thigh(frames[Segment.PELVIS], side, courses, self.player)
            if Segment.shank(side) in segments:
                frames[Segment.shank(side)] = _shank(frames[Segment.thigh(side)], side, courses, self.player)
        return {segment: frames[segment] for segment in SEGMENTS if segment in segments}


def _pelvis(courses: Mapping[Channel, Course], player: Player) -> Frame:
    left_is_lead = 1.0 if player.hand is Hand.RIGHT else -1.0
    height = courses[Channel.HEIGHT]
    up = Course(height.value + player.body.hip_height_m, height.rate, height.accel)
    return (
        upright(courses[Channel.DEPTH], courses[Channel.SWAY].scaled(left_is_lead), up)
        .turned(Y, courses[Channel.TURN].scaled(left_is_lead))
        .turned(X, courses[Channel.SIDE_TILT].scaled(left_is_lead))
        .turned(Z, courses[Channel.FORWARD_TILT].scaled(-1))
    )


def _thigh(pelvis: Frame, side: Side, courses: Mapping[Channel, Course], player: Player) -> Frame:
    flexion, adduction, rotation, _ = leg(side, player.hand)
    sign = 1.0 if side is Side.RIGHT else -1.0
    return (
        pelvis.moved(player.body.hip_centre_m(side))
        .turned(Z, courses[flexion])
        .turned(X, courses[adduction].scaled(sign))
        .turned(Y, courses[rotation].scaled(sign))
    )


def _shank(thigh: Frame, side: Side, courses: Mapping[Channel, Course], player: Player) -> Frame:
    knee = courses[leg(side, player.hand)[3]]
    return thigh.moved((0.0, -player.body.thigh_m, 0.0)).turned(Z, knee.scaled(-1))


def _with_angles(
    t_s: Floats, frames: Mapping[Segment, Frame], courses: Mapping[Channel, Course], hand: Hand
) -> TruthPose:
    pelvis = [courses[one] for one in (Channel.TURN, Channel.SIDE_TILT, Channel.FORWARD_TILT)]
    hips = {side: [courses[one] for one in leg(side, hand)[:3]] for side in Side}
    still = Course(*np.zeros((3, len(t_s))))
    knees = {side: [courses[leg(side, hand)[3]], still, still] for side in Side}
    return TruthPose(
        t_s=t_s,
        frames=frames,
        pelvis_rad=_values(pelvis),
        pelvis_rate_rad_s=_rates(pelvis),
        hip_rad={side: _values(hip) for side, hip in hips.items()},
        hip_rate_rad_s={side: _rates(hip) for side, hip in hips.items()},
        knee_rad={side: _values(knee) for side, knee in knees.items()},
        knee_rate_rad_s={side: _rates(knee) for side, knee in knees.items()},
    )


def _values(courses: list[Course]) -> Floats:
    return np.stack([one.value for one in courses], axis=1)


def _rates(courses: list[Course]) -> Floats:
    return np.stack([one.rate for one in courses], axis=1)
