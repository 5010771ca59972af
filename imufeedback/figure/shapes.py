"""What a picture of the body is made of: filled outlines and lines in metres, a few labels, and how each looks."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

Point = tuple[float, float]
"""Metres to the right and upwards."""


class BodyPart(StrEnum):
    """What a shape or a label stands for; the look goes by it."""

    ANGLE = "angle"
    """From the thigh in line with the pelvis to the thigh."""
    TO_GO = "to-go"
    """From the target to a thigh that has not reached it."""
    REACHED = "reached"
    """From the target to a thigh that has gone past it."""
    TURN = "turn"
    STANCE = "stance"
    TARGET_LINE = "target-line"
    LEAD = "lead"
    PELVIS = "pelvis"
    TRAIL = "trail"
    ZERO = "zero"
    FAN = "fan"
    """One standard deviation to either side."""
    TARGET = "target"
    ARM = "arm"
    """The line whose angle it is."""
    GHOST = "ghost"
    """Another rep at the same place."""


@dataclass(frozen=True, slots=True)
class FigureShape:
    """An outline; `closed` ones are filled."""

    part: BodyPart
    points: Sequence[Point]
    closed: bool = True


@dataclass(frozen=True, slots=True)
class Label:
    """A place for a few words about a part; the painter has the words."""

    part: BodyPart
    at: Point
    value_deg: float = 0.0
    anchor: int = 0
    """-1: the text begins here, 0: its middle is here, 1: it ends here."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """Shapes from back to front, and the box that they are drawn in; the box does not move with the body."""

    shapes: Sequence[FigureShape]
    labels: Sequence[Label]
    box: tuple[float, float, float, float]
    """Left, bottom, right, top, metres."""


@dataclass(frozen=True, slots=True)
class Ink:
    """Colours and stroke of a part; an empty colour paints nothing."""

    fill: str
    line: str
    width_m: float = 0.006
    dash: bool = False
    opacity: float = 1.0
    """Of the fill."""


LIGHT = {
    BodyPart.ANGLE: Ink("#DCE9F4", "", opacity=0.6),
    BodyPart.TO_GO: Ink("#F2C94C", "", opacity=0.75),
    BodyPart.REACHED: Ink("#7CCBAA", "", opacity=0.8),
    BodyPart.TURN: Ink("#E9E7E1", ""),
    BodyPart.STANCE: Ink("", "#8A877F", 0.004, True),
    BodyPart.TARGET_LINE: Ink("", "#4D4D4D", 0.006),
    BodyPart.LEAD: Ink("#E8D0DC", "#A8437A", 0.006),
    BodyPart.PELVIS: Ink("#D9D5CC", "#4D4D4D", 0.006),
    BodyPart.TRAIL: Ink("#A9CBE4", "#0072B2", 0.008),
    BodyPart.ZERO: Ink("", "#4D4D4D", 0.004, True),
    BodyPart.FAN: Ink("#0072B2", "", opacity=0.45),
    BodyPart.TARGET: Ink("", "#00563F", 0.013),
    BodyPart.ARM: Ink("", "#004A75", 0.007),
    BodyPart.GHOST: Ink("", "#4D4D4D", 0.007, True),
}
DARK = {
    BodyPart.ANGLE: Ink("#1E2C38", "", opacity=0.6),
    BodyPart.TO_GO: Ink("#8A7118", "", opacity=0.75),
    BodyPart.REACHED: Ink("#1C6B52", "", opacity=0.8),
    BodyPart.TURN: Ink("#2B2F33", ""),
    BodyPart.STANCE: Ink("", "#8A8F94", 0.004, True),
    BodyPart.TARGET_LINE: Ink("", "#B9B9B4", 0.006),
    BodyPart.LEAD: Ink("#5A2F48", "#E79AC4", 0.006),
    BodyPart.PELVIS: Ink("#45494D", "#B9B9B4", 0.006),
    BodyPart.TRAIL: Ink("#245478", "#7CC4F2", 0.008),
    BodyPart.ZERO: Ink("", "#B9B9B4", 0.004, True),
    BodyPart.FAN: Ink("#7CC4F2", "", opacity=0.5),
    BodyPart.TARGET: Ink("", "#3FD6A8", 0.013),
    BodyPart.ARM: Ink("", "#F4F4F2", 0.007),
    BodyPart.GHOST: Ink("", "#F4F4F2", 0.007, True),
}
"""Hues of Okabe & Ito's colour-blind-safe set, paler for what is filled; what carries meaning has an edge too."""

_ARC = 10
"""Points of half a circle."""
_HALF = [(math.cos(at), math.sin(at)) for at in (math.pi * (k / _ARC - 0.5) for k in range(_ARC + 1))]
"""Half a circle to the right."""


def limb(begin: Point, end: Point, first_m: float, last_m: float) -> list[Point]:
    """Outline of a tapered limb: two half circles and their tangents, near enough."""
    x, y = end[0] - begin[0], end[1] - begin[1]
    long = math.hypot(x, y)
    x, y = (x / long, y / long) if long else (1.0, 0.0)
    (x0, y0), (x1, y1) = begin, end
    first = [(x0 - first_m * (x * c - y * s), y0 - first_m * (y * c + x * s)) for c, s in _HALF]
    return first + [(x1 + last_m * (x * c - y * s), y1 + last_m * (y * c + x * s)) for c, s in _HALF]


def sector(centre: Point, radius_m: float, from_deg: float, to_deg: float, towards: float, down: bool) -> list[Point]:
    """A slice of a circle, angles from straight down (or up), positive towards +1 or -1 in x."""
    steps = max(2, math.ceil(abs(to_deg - from_deg) / 4) + 1)
    angles = (from_deg + (to_deg - from_deg) * k / (steps - 1) for k in range(steps))
    return [centre, *(ray(centre, radius_m, one, towards, down) for one in angles)]


def ray(centre: Point, radius_m: float, angle_deg: float, towards: float, down: bool) -> Point:
    """The end of a line from the centre, angles as in `sector`."""
    x, y = math.sin(math.radians(angle_deg)), math.cos(math.radians(angle_deg))
    return centre[0] + towards * radius_m * x, centre[1] + (-radius_m if down else radius_m) * y
