"""The one drawing of the body: from above, square to the pelvis, and as a camera sees it.

Square to the pelvis the camera looks along the line through both hips and turns with them, which no fixed camera can
do: the trail thigh comes out of the hip at just the angle that is measured. The pelvis is held upright there, so that
the target stands still in the picture and only the thigh moves against it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from imufeedback.figure.pose import HIP_HALF_M, TRUNK_M, TURN, FigurePoints, body, hip_of
from imufeedback.figure.shapes import BodyPart, Drawing, FigureShape, Label, Point, limb, ray, sector
from imufeedback.records import Floats, Hand, Side

HIP_M, KNEE_M, ANKLE_M = 0.082, 0.056, 0.04
"""Half the thickness of a leg: for the picture."""
DIAL_M, EDGE_M = 0.55, 0.61
"""Reach of the wedge of the trail thigh angle, and of the target's edge: past the knee, so that the thigh hides
neither."""
TURN_M = 0.36
LINE_UP_M, LINE_HALF_M = 0.43, 0.40
"""Where the target line is in the picture from above, and half its length."""
STANCE_M, FOOT_M = 0.13, 0.045


class View(StrEnum):
    """Where the picture is taken from."""

    FACE_ON = "face on"
    TARGET_LINE = "along the target line"
    TOP = "from above"
    PELVIS = "square to the pelvis"
    """Along the line through both hips, turning with the pelvis. The thigh angle is the angle that is seen."""


@dataclass(frozen=True, slots=True)
class DrawnExtras:
    """What is drawn beside the body itself; None: not known, or not wanted."""

    target_deg: float | None = None
    """Of the trail thigh angle."""
    angle_sd_deg: float | None = None
    turn_sd_deg: float | None = None
    ghost: Sequence[float] | Floats | None = None
    """A pose of another rep."""
    shanks: bool = False
    """Room is kept for shanks."""


def drawing(
    pose: Sequence[float] | Floats, view: View, hand: Hand, shown: DrawnExtras = DrawnExtras()
) -> Drawing | None:
    """The body in one pose (`pose.POSE`, degrees); None where there is nothing to draw."""
    found = body(pose, hand)
    if found is None or len(found.points) < 2:
        return None
    other = None if shown.ghost is None else body(shown.ghost, hand)
    if view is View.PELVIS:
        return _square(found, other, float(pose[hip_of(hand.trail)]), hand, shown)
    if view is View.TOP:
        return _above(found, other, float(pose[TURN]), hand, shown)
    places = seen(found, view, hand)
    low = -0.95 if shown.shanks or any(name.endswith("ankle") for name in places) else -0.55
    shapes = [*_leg(places, hand.lead, BodyPart.LEAD), _pelvis(places), *_leg(places, hand.trail, BodyPart.TRAIL)]
    return Drawing(shapes, (), (-0.5, low, 0.5, 0.3))


def seen(shown: FigurePoints, view: View, hand: Hand) -> dict[str, Point]:
    """Places in the picture, to the right and upwards, by name.

    Face on, the player's right is on the left. Along the target line the target lies behind the picture, so that a
    left-hander looks the other way. From above, the player looks up the picture.
    """
    towards = 1.0 if hand is Hand.RIGHT else -1.0
    across, up = {
        View.FACE_ON: ((2, -1.0), 1),
        View.TARGET_LINE: ((0, towards), 1),
        View.TOP: ((2, 1.0), 0),
        View.PELVIS: ((0, towards), 1),
    }[view]
    back = shown.pelvis.T if view is View.PELVIS else None
    places = {}
    for name, point in shown.points.items():
        at = point if back is None else back @ point
        places[name] = (across[1] * float(at[across[0]]), float(at[up]))
    return places


def _leg(places: dict[str, Point], side: Side, part: BodyPart) -> list[FigureShape]:
    hip, knee, ankle = (places.get(f"{side}_{joint}") for joint in ("hip", "knee", "ankle"))
    if hip is None or knee is None:
        return []
    thigh = FigureShape(part, limb(hip, knee, HIP_M, KNEE_M))
    return [thigh] if ankle is None else [FigureShape(part, limb(knee, ankle, KNEE_M, ANKLE_M)), thigh]


def _pelvis(places: dict[str, Point]) -> FigureShape:
    """From the hips up to the waist."""
    waist = places["waist"]
    return FigureShape(BodyPart.PELVIS, limb((0.0, 0.0), waist, 0.12, 0.10))


def _square(
    found: FigurePoints, other: FigurePoints | None, angle_deg: float, hand: Hand, shown: DrawnExtras
) -> Drawing:
    towards = 1.0 if hand is Hand.RIGHT else -1.0
    places = seen(found, View.PELVIS, hand)
    shapes: list[FigureShape] = []
    labels: list[Label] = []
    centre, known, target = (0.0, 0.0), math.isfinite(angle_deg), shown.target_deg
    shapes += _leg(places, hand.lead, BodyPart.LEAD)
    shapes += _leg(places, hand.trail, BodyPart.TRAIL)
    if known:
        shapes.append(FigureShape(BodyPart.ANGLE, sector(centre, DIAL_M, 0.0, angle_deg, towards, down=True)))
        if target is not None:
            part = BodyPart.TO_GO if angle_deg > target else BodyPart.REACHED
            shapes.append(FigureShape(part, sector(centre, DIAL_M, target, angle_deg, towards, down=True)))
    shapes.append(FigureShape(BodyPart.PELVIS, limb((0.0, 0.02), (0.0, TRUNK_M), 0.115, 0.095)))
    shapes.append(FigureShape(BodyPart.ZERO, [centre, (0.0, -EDGE_M)], closed=False))
    if known and shown.angle_sd_deg is not None:
        spread = (angle_deg - shown.angle_sd_deg, angle_deg + shown.angle_sd_deg)
        shapes.append(FigureShape(BodyPart.FAN, sector(centre, DIAL_M, *spread, towards, down=True)))
    if target is not None:
        edge = ray(centre, EDGE_M, target, towards, down=True)
        shapes.append(FigureShape(BodyPart.TARGET, [centre, edge], closed=False))
        beside = 3.0 if known and angle_deg < target else -3.0
        at = ray(centre, EDGE_M + 0.035, target + beside, towards, down=True)
        labels.append(Label(BodyPart.TARGET, at, target, anchor=round(towards if beside < 0 else -towards)))
    if other is not None:
        ghost = seen(other, View.PELVIS, hand)
        shapes += [FigureShape(BodyPart.GHOST, one.points) for one in _leg(ghost, hand.trail, BodyPart.TRAIL)]
    if known:
        shapes.append(
            FigureShape(BodyPart.ARM, [centre, ray(centre, DIAL_M, angle_deg, towards, down=True)], closed=False)
        )
        past = target is not None and angle_deg < target  # the two labels keep out of each other's way
        beside = angle_deg - 4.0 if past else max(angle_deg, (target or 0.0) + 3.0) + 4.0
        at = ray(centre, EDGE_M + 0.02, beside, towards, down=True)
        labels.append(Label(BodyPart.ARM, at, angle_deg, anchor=round(towards if past else -towards)))
    low = -0.92 if shown.shanks or any(name.endswith("ankle") for name in places) else -0.72
    left, right = (-0.34, 0.46) if towards > 0 else (-0.46, 0.34)
    return Drawing(shapes, labels, (left, low, right, 0.30))


def _above(found: FigurePoints, other: FigurePoints | None, turn_deg: float, hand: Hand, shown: DrawnExtras) -> Drawing:
    to_target = -1.0 if hand is Hand.RIGHT else 1.0
    places = {name: at for name, at in seen(found, View.TOP, hand).items() if not name.endswith("ankle")}
    centre = (0.0, 0.0)
    shapes = [FigureShape(BodyPart.TURN, sector(centre, TURN_M, 0.0, turn_deg, to_target, down=False))]
    shapes += [
        FigureShape(BodyPart.STANCE, limb((x, -0.06), (1.15 * x, 0.17), FOOT_M, FOOT_M)) for x in (-STANCE_M, STANCE_M)
    ]
    tip = (to_target * LINE_HALF_M, LINE_UP_M)
    shapes.append(FigureShape(BodyPart.TARGET_LINE, [(-tip[0], LINE_UP_M), tip], closed=False))
    back = tip[0] - to_target * 0.05
    arrow = [(back, LINE_UP_M + 0.025), tip, (back, LINE_UP_M - 0.025)]
    shapes.append(FigureShape(BodyPart.TARGET_LINE, arrow, closed=False))
    shapes += _leg(places, hand.lead, BodyPart.LEAD) + _leg(places, hand.trail, BodyPart.TRAIL)
    shapes.append(FigureShape(BodyPart.PELVIS, _ring(found)))
    shapes.append(FigureShape(BodyPart.ZERO, [centre, (0.0, TURN_M)], closed=False))
    if shown.turn_sd_deg is not None:
        spread = (turn_deg - shown.turn_sd_deg, turn_deg + shown.turn_sd_deg)
        shapes.append(FigureShape(BodyPart.FAN, sector(centre, TURN_M, *spread, to_target, down=False)))
    if other is not None:
        shapes.append(FigureShape(BodyPart.GHOST, _ring(other)))
    shapes.append(
        FigureShape(BodyPart.ARM, [centre, ray(centre, TURN_M, turn_deg, to_target, down=False)], closed=False)
    )
    labels = [
        Label(BodyPart.TARGET_LINE, (tip[0], LINE_UP_M + 0.075), anchor=-1 if to_target < 0 else 1),
        Label(BodyPart.TURN, (0.0, -0.28), turn_deg),
    ]
    return Drawing(shapes, labels, (-0.46, -0.33, 0.46, 0.56))


def _ring(found: FigurePoints) -> list[Point]:
    """The pelvis as seen from above."""
    m = found.pelvis
    out = []
    for k in range(28):
        ahead, aside = 0.115 * math.cos(2 * math.pi * k / 28), (HIP_HALF_M + 0.085) * math.sin(2 * math.pi * k / 28)
        out.append((float(m[2, 0] * ahead + m[2, 2] * aside), float(m[0, 0] * ahead + m[0, 2] * aside)))
    return out
