"""Colours, the shapes that go with them, and the contrast between text and ground.

The hues are the colour-blind-safe set of Okabe & Ito, "Color Universal Design" (2002, revised 2008). Colour is never
the only sign: every state has a shape and a word too.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from imufeedback.records import LinkState, Motion, Phase

ORANGE = "#E69F00"
SKY_BLUE = "#56B4E9"
BLUISH_GREEN = "#009E73"
YELLOW = "#F0E442"
BLUE = "#0072B2"
VERMILLION = "#D55E00"
REDDISH_PURPLE = "#CC79A7"

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
STATE_COLOURS = {Motion.STALLED: YELLOW, Motion.REGAINING: VERMILLION}


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
    FITTING = "fitting"
    WAITING = "waiting"
    LOSING = "losing"
    STALLED = "stalled"
    REGAINING = "regaining"
    NO_SIGNAL = "no-signal"
    PAUSED = "paused"
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
    Shown.FITTING: Look(INK, "#CFE3F1", Sign.RING),
    Shown.WAITING: Look(INK, "#E2E0DA", Sign.DASH),
    Shown.LOSING: Look(BLACK, BLUISH_GREEN, Sign.DOWN),
    Shown.STALLED: Look(BLACK, YELLOW, Sign.SQUARE),
    Shown.REGAINING: Look(BLACK, VERMILLION, Sign.UP),
    Shown.NO_SIGNAL: Look(WHITE, SOFT_INK, Sign.CROSS),
    Shown.PAUSED: Look(INK, "#E2E0DA", Sign.BARS),
    Shown.FINISHED: Look(INK, "#CFE3F1", Sign.TICK),
}

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

TEXT_PAIRS: dict[str, tuple[str, str]] = {
    "text": (INK, GROUND),
    "text on paper": (INK, PAPER),
    "soft text": (SOFT_INK, GROUND),
    "soft text on paper": (SOFT_INK, PAPER),
    "fault in the table": (ALARM_INK, PAPER),
    "notice": (NOTICE.ink, NOTICE.ground),
    "fault line": (FAULT.ink, FAULT.ground),
    "button": (WHITE, BLUE),
    "good on paper": (GOOD_INK, PAPER),
    "good on ground": (GOOD_INK, GROUND),
    "trouble on ground": (ALARM_INK, GROUND),
    "trail number": (TRAIL, PAPER),
    "lead number": (LEAD, PAPER),
    "tilt number": (TILT, PAPER),
    **{f"word in {phase}": (SOFT_INK, shade) for phase, shade in PHASES.items()},
    **{f"state {name}": (look.ink, look.ground) for name, look in STATE_LOOKS.items()},
    **{f"link {name}": (look.ink, look.ground) for name, look in LINK_LOOKS.items()},
}
"""Every text colour with the ground it stands on, by name."""

LINE_PAIRS: dict[str, tuple[str, str]] = {
    f"{name} trace on {ground}": (ink, shade)
    for name, ink in {"trail": TRAIL, "lead": LEAD, "turn": INK, "tilt": TILT}.items()
    for ground, shade in {"paper": PAPER, **{str(phase): shade for phase, shade in PHASES.items()}}.items()
}
"""Lines that carry meaning, with their ground."""

TEXT_CONTRAST_MIN = 4.5
"""WCAG 2.2, success criterion 1.4.3 (AA)."""
LINE_CONTRAST_MIN = 3.0
"""WCAG 2.2, success criterion 1.4.11 (AA)."""


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two ``#rrggbb`` colours, 1 to 21: WCAG 2.2, "contrast ratio"."""
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def luminance(colour: str) -> float:
    """Relative luminance of an ``#rrggbb`` colour, 0 to 1: WCAG 2.2, "relative luminance"."""
    red, green, blue = (_linear(int(colour[i : i + 2], 16) / 255) for i in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def _linear(channel: float) -> float:
    return channel / 12.92 if channel <= 0.04045 else float(((channel + 0.055) / 1.055) ** 2.4)
