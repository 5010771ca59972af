"""Colours, and the shapes that go with them.

The hues are the colour-blind-safe set of Okabe & Ito, "Color Universal Design" (2002, revised 2008). Colour is never
the only sign: every state has a shape and a word too.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from imufeedback.records import LinkState, Motion, Phase

SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"

INK = "#1A1A1A"
SOFT_INK = "#4D4D4D"
BLACK = "#000000"
WHITE = "#FFFFFF"
PAPER = "#FFFFFF"
GROUND = "#F3F2EE"
RULE_LINE = "#C9C7C0"
LIMB = "#D9D5CC"
"""The body in pictures; carries no meaning."""
ALARM_INK = "#8F2D00"
"""Vermillion, darkened until it can be read as small text on a light ground."""
GOOD_INK = "#00563F"
"""Bluish green, darkened for the same reason."""

TRAIL = BLUE
"""Everything measured on the trail side."""
LEAD = "#A8437A"
"""Everything measured on the lead side: reddish purple, darkened to 3:1 against the paper with room to spare."""


TILT = "#8A5A00"
"""Side tilt: orange, darkened until it can be read as text on paper."""
PHASES = {Phase.BACKSWING: "#EDF3F8", Phase.DOWNSWING: "#FBF3DF", Phase.THROUGH_SWING: "#EEF5EC"}
"""Shades behind the traces; the word stands in them too."""
STATE_COLOURS = {Motion.STALLED: YELLOW, Motion.GROWING: VERMILLION}


class Sign(StrEnum):
    """Shapes drawn beside a colour; painted, so that no font has to carry them."""

    DOWN = "down"
    SQUARE = "square"
    UP = "up"
    DASH = "dash"
    CROSS = "cross"
    RING = "ring"
    DISC = "disc"
    TICK = "tick"
    BARS = "bars"


class Shown(StrEnum):
    """What the state panel can say: the live states, and what there is to say when there is none."""

    NO_SENSORS = "no-sensors"
    CALIBRATION = "calibration"
    WAITING = "waiting"
    FALLING = "falling"
    STALLED = "stalled"
    GROWING = "growing"
    NO_SIGNAL = "no-signal"
    PAUSED = "paused"
    UNTOLD = "untold"
    """A baseline or test: its results come when it is over."""
    ASKING = "asking"
    """The player's own estimate is waited for."""
    FINISHED = "finished"

    @staticmethod
    def of(state: Motion) -> Shown:
        return Shown.WAITING if state is Motion.IDLE else Shown(state.value)


@dataclass(frozen=True, slots=True)
class Look:
    """Text colour, ground colour and shape of one thing on the screen."""

    ink: str
    ground: str
    sign: Sign


STATE_LOOKS = {
    Shown.NO_SENSORS: Look(INK, "#E2E0DA", Sign.RING),
    Shown.CALIBRATION: Look(INK, "#CFE3F1", Sign.RING),
    Shown.WAITING: Look(INK, "#E2E0DA", Sign.DASH),
    Shown.FALLING: Look(BLACK, BLUISH_GREEN, Sign.DOWN),
    Shown.STALLED: Look(BLACK, YELLOW, Sign.SQUARE),
    Shown.GROWING: Look(BLACK, VERMILLION, Sign.UP),
    Shown.NO_SIGNAL: Look(WHITE, SOFT_INK, Sign.CROSS),
    Shown.PAUSED: Look(INK, "#E2E0DA", Sign.BARS),
    Shown.UNTOLD: Look(INK, "#E2E0DA", Sign.DASH),
    Shown.ASKING: Look(INK, "#CFE3F1", Sign.RING),
    Shown.FINISHED: Look(INK, "#CFE3F1", Sign.TICK),
}

RESULT_LOOKS = {
    Sign.TICK: Look(BLACK, "#BFE5D6", Sign.TICK),
    Sign.CROSS: Look(BLACK, "#F6C9B0", Sign.CROSS),
    Sign.RING: Look(INK, "#FBF3C9", Sign.RING),
    Sign.DASH: Look(INK, "#E2E0DA", Sign.DASH),
}
"""The result of a rep: paler than the live states, so that the two are never taken for each other."""

LINK_LOOKS = {
    LinkState.SEARCHING: Look(SOFT_INK, GROUND, Sign.RING),
    LinkState.CONNECTING: Look(SOFT_INK, GROUND, Sign.RING),
    LinkState.CONNECTED: Look(INK, GROUND, Sign.RING),
    LinkState.STREAMING: Look(GOOD_INK, GROUND, Sign.DISC),
    LinkState.SILENT: Look(ALARM_INK, GROUND, Sign.CROSS),
    LinkState.LOST: Look(ALARM_INK, GROUND, Sign.CROSS),
    LinkState.CLOSED: Look(SOFT_INK, GROUND, Sign.DASH),
}

NOTICE = Look(INK, "#FBF3C9", Sign.DISC)
FAULT = Look(BLACK, "#F6C9B0", Sign.CROSS)
