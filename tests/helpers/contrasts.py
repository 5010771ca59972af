"""Every text colour with the ground it stands on, and the contrast between the two."""

from __future__ import annotations

from imufeedback.app.palette import (
    ALARM_INK,
    BLUE,
    FAULT,
    GOOD_INK,
    GROUND,
    INK,
    LEAD,
    LINK_LOOKS,
    NOTICE,
    PAPER,
    PHASES,
    SOFT_INK,
    STATE_LOOKS,
    TILT,
    TRAIL,
    WHITE,
    Shown,
)
from imufeedback.app.theme import Theme

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


def text_pairs(theme: Theme) -> dict[str, tuple[str, str]]:
    """Every text colour of a theme with the ground it stands on, by name."""
    inks = {"text": theme.ink, "soft": theme.soft_ink, "good": theme.good, "fault": theme.fault, "unsure": theme.unsure}
    pairs = {f"{theme.name} {name}": (ink, theme.ground) for name, ink in inks.items()}
    states = {shown: theme.state(shown) for shown in Shown}
    return pairs | {f"{theme.name} state {shown}": (look.ink, look.ground) for shown, look in states.items()}
