"""Colours, and the shapes that go with them.

The hues are the colour-blind-safe set of Okabe & Ito, "Color Universal Design" (2002, revised 2008). Colour is never
the only sign: every state has a shape and a word too.

The names below hold the colours of the look that is in use: read them as `palette.INK` when something is painted, and
do not keep them. `imufeedback.app.look` chooses among the looks.
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
SELECTED = "#CFE3F1"
"""Ground of what is chosen, and of a state that asks for something."""
QUIET = "#E2E0DA"
"""Ground of a state that is none."""
HINT = "#FBF3C9"
"""Ground of a notice."""
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
DARK_PHASES = {Phase.BACKSWING: "#1A2A38", Phase.DOWNSWING: "#332B16", Phase.THROUGH_SWING: "#1B2E1F"}
STATE_COLOURS = {Motion.STALLED: YELLOW, Motion.GROWING: VERMILLION}


class PaintedSign(StrEnum):
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


class PanelState(StrEnum):
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
    def of(state: Motion) -> PanelState:
        return PanelState.WAITING if state is Motion.IDLE else PanelState(state.value)


@dataclass(frozen=True, slots=True)
class Look:
    """Text colour, ground colour and shape of one thing on the screen."""

    ink: str
    ground: str
    sign: PaintedSign


_DARK = {
    "INK": "#F4F4F2",
    "SOFT_INK": "#B9B9B4",
    "PAPER": "#16191C",
    "GROUND": "#0E1012",
    "RULE_LINE": "#6B6F73",
    "SELECTED": "#12394F",
    "QUIET": "#2B2F33",
    "HINT": "#3A3410",
    "LIMB": "#3A3F44",
    "ALARM_INK": "#FF9A5C",
    "GOOD_INK": "#3FD6A8",
    "TRAIL": SKY_BLUE,
    "LEAD": "#E89AC4",
    "TILT": "#E0A43A",
}
_SUNLIGHT = {
    "INK": BLACK,
    "SOFT_INK": BLACK,
    "GROUND": WHITE,
    "RULE_LINE": "#595959",
    "QUIET": WHITE,
    "BLUE": "#004A75",
    "ALARM_INK": "#6B1F00",
    "GOOD_INK": "#003D2C",
    "TRAIL": "#004A75",
    "LEAD": "#74164C",
    "TILT": "#543700",
}
_LIGHT = {name: globals()[name] for name in {**_DARK, **_SUNLIGHT}}
LOOKS = {"light": _LIGHT, "dark": _LIGHT | _DARK, "sunlight": _LIGHT | _SUNLIGHT}
"""Colours by name. Dark is for an indoor bay; in the sun all text has 7:1 or more (WCAG 2.2, 1.4.6 AAA)."""
_LIGHT_PHASES = dict(PHASES)


def use(look: str) -> None:
    """Every colour of this module is that of one of `LOOKS` from now on; who has painted paints again."""
    globals().update(LOOKS[look])
    PHASES.update(DARK_PHASES if look == "dark" else _LIGHT_PHASES)
    STATE_LOOKS.update(_state_looks())
    RESULT_LOOKS.update(_result_looks())
    LINK_LOOKS.update(_link_looks())


def _state_looks() -> dict[PanelState, Look]:
    return {
        PanelState.NO_SENSORS: Look(INK, QUIET, PaintedSign.RING),
        PanelState.CALIBRATION: Look(INK, SELECTED, PaintedSign.RING),
        PanelState.WAITING: Look(INK, QUIET, PaintedSign.DASH),
        PanelState.FALLING: Look(BLACK, BLUISH_GREEN, PaintedSign.DOWN),
        PanelState.STALLED: Look(BLACK, YELLOW, PaintedSign.SQUARE),
        PanelState.GROWING: Look(BLACK, VERMILLION, PaintedSign.UP),
        PanelState.NO_SIGNAL: Look(WHITE, "#4D4D4D", PaintedSign.CROSS),
        PanelState.PAUSED: Look(INK, QUIET, PaintedSign.BARS),
        PanelState.UNTOLD: Look(INK, QUIET, PaintedSign.DASH),
        PanelState.ASKING: Look(INK, SELECTED, PaintedSign.RING),
        PanelState.FINISHED: Look(INK, SELECTED, PaintedSign.TICK),
    }


def _result_looks() -> dict[PaintedSign, Look]:
    return {
        PaintedSign.TICK: Look(BLACK, "#BFE5D6", PaintedSign.TICK),
        PaintedSign.CROSS: Look(BLACK, "#F6C9B0", PaintedSign.CROSS),
        PaintedSign.RING: Look(INK, HINT, PaintedSign.RING),
        PaintedSign.DASH: Look(INK, QUIET, PaintedSign.DASH),
    }


def _link_looks() -> dict[LinkState, Look]:
    return {
        LinkState.SEARCHING: Look(SOFT_INK, GROUND, PaintedSign.RING),
        LinkState.CONNECTING: Look(SOFT_INK, GROUND, PaintedSign.RING),
        LinkState.CONNECTED: Look(INK, GROUND, PaintedSign.RING),
        LinkState.STREAMING: Look(GOOD_INK, GROUND, PaintedSign.DISC),
        LinkState.SILENT: Look(ALARM_INK, GROUND, PaintedSign.CROSS),
        LinkState.LOST: Look(ALARM_INK, GROUND, PaintedSign.CROSS),
        LinkState.CLOSED: Look(SOFT_INK, GROUND, PaintedSign.DASH),
    }


def notice_look() -> Look:
    return Look(INK, HINT, PaintedSign.DISC)


STATE_LOOKS = _state_looks()
RESULT_LOOKS = _result_looks()
"""The result of a rep: paler than the live states, so that the two are never taken for each other."""
LINK_LOOKS = _link_looks()
FAULT = Look(BLACK, "#F6C9B0", PaintedSign.CROSS)
