"""Every text colour with the ground it stands on, and the contrast between the two."""

from __future__ import annotations

from imufeedback.app import palette
from imufeedback.app.palette import PanelState
from imufeedback.app.theme import Theme


def pairs_of_text(look: str) -> dict[str, tuple[str, str]]:
    """Every text colour with the ground it stands on, by name."""
    palette.use(look)
    p = palette
    notice = p.notice_look()
    return {
        "text": (p.INK, p.GROUND),
        "text on paper": (p.INK, p.PAPER),
        "soft text": (p.SOFT_INK, p.GROUND),
        "soft text on paper": (p.SOFT_INK, p.PAPER),
        "fault in the table": (p.ALARM_INK, p.PAPER),
        "chosen in a list": (p.INK, p.SELECTED),
        "notice": (notice.ink, notice.ground),
        "fault line": (p.FAULT.ink, p.FAULT.ground),
        "button": (p.WHITE, p.BLUE),
        "banner": (p.PAPER, p.INK),
        "good on paper": (p.GOOD_INK, p.PAPER),
        "good on ground": (p.GOOD_INK, p.GROUND),
        "trouble on ground": (p.ALARM_INK, p.GROUND),
        "trail number": (p.TRAIL, p.PAPER),
        "lead number": (p.LEAD, p.PAPER),
        "tilt number": (p.TILT, p.PAPER),
        **{f"word in {phase}": (p.SOFT_INK, shade) for phase, shade in p.PHASES.items()},
        **{f"state {name}": (one.ink, one.ground) for name, one in p.STATE_LOOKS.items()},
        **{f"result {name}": (one.ink, one.ground) for name, one in p.RESULT_LOOKS.items()},
        **{f"link {name}": (one.ink, one.ground) for name, one in p.LINK_LOOKS.items()},
    }


def pairs_of_lines(look: str) -> dict[str, tuple[str, str]]:
    """Lines that carry meaning, with their ground; and the ring of what has the keyboard."""
    palette.use(look)
    p = palette
    grounds = {"paper": p.PAPER, **{str(phase): shade for phase, shade in p.PHASES.items()}}
    inks = {"trail": p.TRAIL, "lead": p.LEAD, "turn": p.INK, "tilt": p.TILT}
    lines = {f"{name} on {ground}": (ink, shade) for name, ink in inks.items() for ground, shade in grounds.items()}
    focus = {f"focus on {name}": (p.BLUE, ground) for name, ground in (("ground", p.GROUND), ("paper", p.PAPER))}
    return lines | focus


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
    states = {shown: theme.state(shown) for shown in PanelState}
    return pairs | {f"{theme.name} state {shown}": (look.ink, look.ground) for shown, look in states.items()}
