"""Player and plan -> pose: orientation, motion and clinical angles of every segment, exact at any instants.

Axes and signs, worked out with the right-hand rule (earth: x ahead, y left, z up; segments: x anterior, y up, z right):

* pelvis ``R = Ry(yaw) · Rx(obliquity) · Rz(-forward tilt)`` from a body that stands upright (Baker, Gait Posture
  2001;13:1-6). ``Ry(+)`` carries z (right) towards x (ahead): the right side goes forward, a turn to the left, which is
  towards the target for a right-hander. ``Rx(+)`` carries y (up) towards z (right) and z (right) towards -y (down): the
  right side goes down, the left side up, and left is the lead side of a right-hander. So turn and side tilt are yaw and
  obliquity for a right-hander and their negatives for a left-hander. ``Rz(-tilt)`` carries y (up) towards x (ahead);
* hip ``R = Rz(flexion) · Rx(adduction) · Ry(internal rotation)`` for the right leg, the last two negated for the left
  (Grood & Suntay 1983; Wu et al. 2002);
* knee ``R = Rz(-flexion)``: a hinge; so is the elbow, the other way round;
* trunk ``R = Rz(-tilt) · Ry(turn)`` on the pelvis, upper arm ``R = Rz(flexion) · Rx(adduction)`` on the trunk, and the
  forearm turns about its long axis after the elbow: enough for a forearm that moves as one does, not a shoulder model.

Turn, sway and depth count from where the player faces (`Channel.HEADING`), so that they and the hips have one truth
at every address, wherever the player has walked to before.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np

from imufeedback.records import Floats, Hand, Segment, Side
from imufeedback.synth.kinematics import SegmentCourse, X, Y, Z, upright
from imufeedback.synth.plan import ARM, Channel, MotionPlan, leg
from imufeedback.synth.player import InventedPlayer
from imufeedback.synth.profile import Course

SEGMENTS = (
    Segment.PELVIS,
    Segment.LEFT_THIGH,
    Segment.RIGHT_THIGH,
    Segment.LEFT_SHANK,
    Segment.RIGHT_SHANK,
)
"""Pelvis and legs."""
BODY = (*SEGMENTS, Segment.LEAD_FOREARM)
"""All segments this golfer has."""


_LEGS = tuple(one for one in Channel if one not in ARM)


@dataclass(frozen=True, slots=True)
class TruthPose:
    """The body at N instants."""

    t_s: Floats
    frames: Mapping[Segment, SegmentCourse]
    """Origins: pelvis midway between the hip centres, thigh at its hip centre, shank at its knee, forearm at its
    elbow."""
    heading_rad: Floats
    """(N,) where the player faces; towards the lead side is positive."""
    pelvis_rad: Floats
    """(N, 3) turn from there, side tilt, forward tilt, as `PelvisAngles`."""
    pelvis_rate_rad_s: Floats
    hip_rad: Mapping[Side, Floats]
    """(N, 3) flexion, adduction, internal rotation, as `JointAngles`."""
    hip_rate_rad_s: Mapping[Side, Floats]
    knee_rad: Mapping[Side, Floats]
    """(N, 3) the same; a hinge, so only flexion is other than 0."""
    knee_rate_rad_s: Mapping[Side, Floats]


class Golfer:
    """A player who does what a plan says."""

    def __init__(self, player: InventedPlayer, plan: MotionPlan) -> None:
        self.player = player
        self.plan = plan

    def pose(self, t_s: Floats, segments: Collection[Segment] = SEGMENTS) -> TruthPose:
        """The body at the instants ``t_s`` (N,) of session time: all angles, and the frames of `segments`."""
        wanted = tuple(Channel) if Segment.LEAD_FOREARM in segments else _LEGS
        courses = self.plan.courses(np.asarray(t_s, dtype=np.float64), wanted)
        return _with_angles(t_s, self._frames(courses, segments), courses, self.player.hand)

    def _frames(self, courses: Mapping[Channel, Course], segments: Collection[Segment]) -> dict[Segment, SegmentCourse]:
        if not segments:  # angles alone are wanted often, and cost much less
            return {}
        base = _stance(courses, self.player) if self.plan.stays else _stance_anywhere(courses, self.player)
        frames = {Segment.PELVIS: _pelvis(base, courses, self.player.hand)}
        for side in Side:
            if Segment.thigh(side) in segments or Segment.shank(side) in segments:
                frames[Segment.thigh(side)] = _thigh(frames[Segment.PELVIS], side, courses, self.player)
            if Segment.shank(side) in segments:
                frames[Segment.shank(side)] = _shank(frames[Segment.thigh(side)], side, courses, self.player)
        if Segment.LEAD_FOREARM in segments:
            frames[Segment.LEAD_FOREARM] = _forearm(frames[Segment.PELVIS], courses, self.player)
        return {segment: frames[segment] for segment in BODY if segment in segments}


def _left_is_lead(hand: Hand) -> float:
    return 1.0 if hand is Hand.RIGHT else -1.0


def _stance(courses: Mapping[Channel, Course], player: InventedPlayer) -> SegmentCourse:
    """Upright, where the pelvis is, facing ahead."""
    sign = _left_is_lead(player.hand)
    return upright(courses[Channel.DEPTH], courses[Channel.SWAY].scaled(sign), _pelvis_height(courses, player))


def _stance_anywhere(courses: Mapping[Channel, Course], player: InventedPlayer) -> SegmentCourse:
    """Upright, where the pelvis is, facing where the player faces."""
    sign = _left_is_lead(player.hand)
    ground = upright(courses[Channel.AHEAD], courses[Channel.ACROSS].scaled(sign), _pelvis_height(courses, player))
    still = Course(*np.zeros((3, len(ground.position_m))))
    facing = ground.turned(Y, courses[Channel.HEADING].scaled(sign))
    return facing.slid(courses[Channel.DEPTH], still, courses[Channel.SWAY].scaled(-sign))


def _pelvis_height(courses: Mapping[Channel, Course], player: InventedPlayer) -> Course:
    height = courses[Channel.HEIGHT]
    return Course(height.value + player.body.hip_height_m, height.rate, height.accel)


def _pelvis(base: SegmentCourse, courses: Mapping[Channel, Course], hand: Hand) -> SegmentCourse:
    left_is_lead = _left_is_lead(hand)
    return (
        base.turned(Y, courses[Channel.TURN].scaled(left_is_lead))
        .turned(X, courses[Channel.SIDE_TILT].scaled(left_is_lead))
        .turned(Z, courses[Channel.FORWARD_TILT].scaled(-1))
    )


def _thigh(
    pelvis: SegmentCourse, side: Side, courses: Mapping[Channel, Course], player: InventedPlayer
) -> SegmentCourse:
    flexion, adduction, rotation, _ = leg(side, player.hand)
    sign = 1.0 if side is Side.RIGHT else -1.0
    return (
        pelvis.moved(player.body.hip_centre_m(side))
        .turned(Z, courses[flexion])
        .turned(X, courses[adduction].scaled(sign))
        .turned(Y, courses[rotation].scaled(sign))
    )


def _shank(
    thigh: SegmentCourse, side: Side, courses: Mapping[Channel, Course], player: InventedPlayer
) -> SegmentCourse:
    knee = courses[leg(side, player.hand)[3]]
    return thigh.moved((0.0, -player.body.thigh_m, 0.0)).turned(Z, knee.scaled(-1))


def _forearm(pelvis: SegmentCourse, courses: Mapping[Channel, Course], player: InventedPlayer) -> SegmentCourse:
    side = player.hand.lead
    sign = 1.0 if side is Side.RIGHT else -1.0
    shoulder = (
        pelvis.turned(Z, courses[Channel.TORSO_TILT].scaled(-1))
        .turned(Y, courses[Channel.TORSO_TURN].scaled(_left_is_lead(player.hand)))
        .moved(player.body.shoulder_m(side))
    )
    elbow = (
        shoulder.turned(Z, courses[Channel.ARM_FLEXION])
        .turned(X, courses[Channel.ARM_ADDUCTION].scaled(sign))
        .moved((0.0, -player.body.upper_arm_m, 0.0))
    )
    return (
        elbow.turned(Z, courses[Channel.ELBOW])
        .turned(Y, courses[Channel.FOREARM_ROTATION].scaled(sign))
        .turned(Z, courses[Channel.FOREARM_SHOCK])
    )


def _with_angles(
    t_s: Floats, frames: Mapping[Segment, SegmentCourse], courses: Mapping[Channel, Course], hand: Hand
) -> TruthPose:
    pelvis = [courses[one] for one in (Channel.TURN, Channel.SIDE_TILT, Channel.FORWARD_TILT)]
    hips = {side: [courses[one] for one in leg(side, hand)[:3]] for side in Side}
    still = Course(*np.zeros((3, len(t_s))))
    knees = {side: [courses[leg(side, hand)[3]], still, still] for side in Side}
    return TruthPose(
        t_s=t_s,
        frames=frames,
        heading_rad=courses[Channel.HEADING].value,
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
