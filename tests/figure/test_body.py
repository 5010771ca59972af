"""The body in the picture, checked by hand: where its points are, and what is drawn beside it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from imufeedback.figure import shapes
from imufeedback.figure.drawing import DrawnExtras, View, drawing, seen
from imufeedback.figure.pose import HIP_HALF_M, POSE, THIGH_M, body
from imufeedback.figure.shapes import BodyPart, Drawing
from imufeedback.records import Floats, Hand

NAN = float("nan")


def pose(**angles: float) -> Floats:
    """By names without unit; 0 where not said, no sensors on the right knee."""
    unknown = {"right_knee_flexion": NAN}
    return np.array([(unknown | angles).get(name.removesuffix("_deg"), 0.0) for name in POSE])


def at(view: View, hand: Hand = Hand.RIGHT, **angles: float) -> dict[str, tuple[float, float]]:
    shown = body(pose(**angles), hand)
    assert shown is not None
    return seen(shown, view, hand)


def test_standing_face_on_the_players_right_is_on_the_left():
    places = at(View.FACE_ON)
    assert places["right_hip"] == pytest.approx((-HIP_HALF_M, 0))
    assert places["right_knee"] == pytest.approx((-HIP_HALF_M, -THIGH_M))
    assert "right_ankle" not in places or places["right_ankle"][1] < -THIGH_M
    assert "left_ankle" in places


@pytest.mark.parametrize("hand", list(Hand))
def test_the_square_view_shows_the_thigh_angle_itself(hand):
    """Whatever the pelvis does: the angle in the picture is hip flexion, forward of the pelvis."""
    moved = {"pelvis_turn": 40.0, "pelvis_side_tilt": 10.0, "pelvis_forward_tilt": 20.0}
    places = at(View.PELVIS, hand, right_hip_flexion=30.0, left_hip_flexion=-10.0, **moved)
    forward = 1.0 if hand is Hand.RIGHT else -1.0
    for side, angle in (("right", 30.0), ("left", -10.0)):
        dx, dy = np.subtract(places[f"{side}_knee"], places[f"{side}_hip"])
        assert np.degrees(np.arctan2(forward * dx, -dy)) == pytest.approx(angle)


@pytest.mark.parametrize("hand", list(Hand))
def test_turn_towards_the_target_seen_from_above(hand):
    """The player looks up the picture; a right-hander's target is on the left: turning there, the right hip comes
    forward. A left-hander is the mirror image."""
    places = at(View.TOP, hand, pelvis_turn=30.0)
    forward = places[f"{hand.trail}_hip"][1]
    assert forward == pytest.approx(HIP_HALF_M * np.sin(np.radians(30)))


@pytest.mark.parametrize("hand", list(Hand))
def test_lead_side_up(hand):
    places = at(View.FACE_ON, hand, pelvis_side_tilt=10.0)
    assert places[f"{hand.lead}_hip"][1] > places[f"{hand.trail}_hip"][1]


@pytest.mark.parametrize("hand", list(Hand))
def test_tipped_forward_along_the_target_line(hand):
    """A right-hander faces right in the picture, a left-hander left."""
    waist = at(View.TARGET_LINE, hand, pelvis_forward_tilt=20.0)["waist"]
    assert np.sign(waist[0]) == (1 if hand is Hand.RIGHT else -1)


def test_bones_keep_their_length():
    shown = body(
        pose(pelvis_turn=50, right_hip_flexion=70, right_hip_adduction=-20, right_hip_internal_rotation=30), Hand.LEFT
    )
    assert shown is not None
    assert np.linalg.norm(shown.points["right_knee"] - shown.points["right_hip"]) == pytest.approx(THIGH_M)


@pytest.mark.parametrize(
    ("lost", "gone", "left"), [("right", "right_knee", "left_knee"), ("left", "left_knee", "right_knee")]
)
def test_a_leg_that_is_not_known_is_left_out_and_the_other_stays(lost: str, gone: str, left: str) -> None:
    places = at(View.FACE_ON, **{f"{lost}_hip_flexion": NAN})
    assert gone not in places
    assert left in places


def test_without_the_pelvis_there_is_no_body() -> None:
    assert body(pose(pelvis_turn=NAN), Hand.RIGHT) is None
    assert drawing(pose(pelvis_turn=NAN), View.PELVIS, Hand.RIGHT) is None


def test_a_thigh_whose_rotation_is_not_known_has_no_shank() -> None:
    assert "left_ankle" not in at(View.FACE_ON, left_hip_internal_rotation=NAN)


def made(hand: Hand, angle: float, **shown: float) -> Drawing:
    found = drawing(pose(**{f"{hand.trail}_hip_flexion": angle}), View.PELVIS, hand, DrawnExtras(**shown))  # type: ignore[arg-type]
    assert found is not None
    return found


def slope(points: object, hand: Hand) -> float:
    """Angle of a line from the hip, degrees forward of straight down."""
    (x0, y0), (x, y) = list(points)  # type: ignore[call-overload]
    return math.degrees(math.atan2((x - x0) * (1 if hand is Hand.RIGHT else -1), -(y - y0)))


@pytest.mark.parametrize("hand", list(Hand))
@pytest.mark.parametrize(("angle", "part"), [(24.0, BodyPart.TO_GO), (-9.0, BodyPart.REACHED)])
def test_the_wedge_lies_between_target_and_thigh(hand: Hand, angle: float, part: BodyPart) -> None:
    found = made(hand, angle, target_deg=2.0, angle_sd_deg=1.5)
    by_part = {one.part: one for one in found.shapes}
    assert ({BodyPart.TO_GO, BodyPart.REACHED} - {part}).isdisjoint(by_part)
    assert slope(by_part[BodyPart.TARGET].points, hand) == pytest.approx(2.0)
    assert slope(by_part[BodyPart.ARM].points, hand) == pytest.approx(angle)
    centre, first, *_, last = by_part[part].points
    assert sorted((slope((centre, first), hand), slope((centre, last), hand))) == pytest.approx(sorted((2.0, angle)))
    centre, first, *_, last = by_part[BodyPart.FAN].points
    assert slope((centre, first), hand) == pytest.approx(angle - 1.5)
    assert slope((centre, last), hand) == pytest.approx(angle + 1.5)


def test_what_is_not_known_is_not_drawn() -> None:
    parts = {one.part for one in made(Hand.RIGHT, NAN, target_deg=2.0, angle_sd_deg=1.5).shapes}
    assert parts.isdisjoint({BodyPart.ARM, BodyPart.FAN, BodyPart.ANGLE, BodyPart.TO_GO, BodyPart.TRAIL})
    assert {BodyPart.TARGET, BodyPart.PELVIS, BodyPart.LEAD} <= parts
    bare = {one.part for one in made(Hand.RIGHT, 20.0).shapes}
    assert bare.isdisjoint({BodyPart.TARGET, BodyPart.TO_GO, BodyPart.FAN, BodyPart.GHOST})


@pytest.mark.parametrize(("hand", "side"), [(Hand.RIGHT, -1), (Hand.LEFT, 1)])
def test_from_above_the_arrow_points_to_the_target_and_the_arm_turns_there(hand: Hand, side: int) -> None:
    found = drawing(pose(pelvis_turn=40.0), View.TOP, hand)
    assert found is not None
    line = next(one for one in found.shapes if one.part is BodyPart.TARGET_LINE)
    assert np.sign(line.points[-1][0]) == side
    arm = next(one for one in found.shapes if one.part is BodyPart.ARM)
    assert np.sign(arm.points[-1][0]) == side


def test_the_picture_stands_still_while_the_body_moves() -> None:
    assert made(Hand.RIGHT, 24.0).box == made(Hand.RIGHT, -9.0).box


def test_every_part_has_a_look_in_light_and_dark() -> None:
    assert set(shapes.LIGHT) == set(shapes.DARK) == set(BodyPart)
