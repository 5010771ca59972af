"""Looks: light, dark for an indoor bay, and the strongest contrasts for the sun."""

from __future__ import annotations

from dataclasses import dataclass

from imufeedback.app import palette
from imufeedback.app.palette import Look, PaintedSign, PanelState


@dataclass(frozen=True, slots=True)
class Theme:
    """Colours of one look. Text inks are readable on `ground`; a state brings its own ground along."""

    name: str
    ground: str
    ink: str
    soft_ink: str
    good: str
    fault: str
    unsure: str
    quiet: Look
    """Of states that are none: nothing to see yet, or waiting."""

    def state(self, shown: PanelState) -> Look:
        """Look of the state block."""
        look = palette.STATE_LOOKS[shown]
        if shown in (
            PanelState.NO_SENSORS,
            PanelState.CALIBRATION,
            PanelState.WAITING,
            PanelState.FINISHED,
            PanelState.PAUSED,
            PanelState.UNTOLD,
            PanelState.ASKING,
        ):
            return Look(self.quiet.ink, self.quiet.ground, look.sign)
        return look


LIGHT = Theme(
    *("light", palette.PAPER, palette.BLACK, palette.SOFT_INK, palette.GOOD_INK, palette.ALARM_INK, "#5C4A00"),
    Look(palette.INK, "#E2E0DA", PaintedSign.DASH),
)
DARK = Theme(
    *("dark", "#0E1012", "#F4F4F2", "#B9B9B4", "#3FD6A8", "#FF9A5C", palette.YELLOW),
    Look("#F4F4F2", "#2B2F33", PaintedSign.DASH),
)
SUNLIGHT = Theme(
    *("sunlight", palette.WHITE, palette.BLACK, palette.BLACK, "#003D2C", "#6B1F00", "#3D3000"),
    Look(palette.BLACK, palette.WHITE, PaintedSign.DASH),
)
"""All text at 7:1 or more (WCAG 2.2, 1.4.6 AAA), for a screen that the sun washes out."""
THEMES = (LIGHT, DARK, SUNLIGHT)
