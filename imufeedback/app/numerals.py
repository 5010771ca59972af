"""Numbers as people read them: a true minus sign, a degree sign, a dash where a number is not known, and the decimal
mark of the person's country. On screens only: files always have a point.
"""

from __future__ import annotations

import math

UNKNOWN = "–"
"""Stands where a number is not known."""
_mark = "."


def use_decimal_mark(mark: str) -> None:
    """Decimal mark of all numbers on the screen from here on."""
    global _mark
    _mark = mark


def quantity(value: float, unit: str) -> str:
    """A value with its unit: one decimal, or two for a ratio (unit ``1``)."""
    number = signed(value, 2 if unit == "1" else 1)
    if number == UNKNOWN or unit == "1":
        return number
    return f"{number}°" if unit == "deg" else f"{number} {unit}".rstrip()


def degrees(value_deg: float | None) -> str:
    """Whole degrees, because the error bar is wider than one; `UNKNOWN` for None and for what is not finite."""
    number = UNKNOWN if value_deg is None else signed(value_deg, 0)
    return number if number == UNKNOWN else f"{number}°"


def signed(value: float, decimals: int) -> str:
    """A number with a true minus sign, and never a minus zero."""
    if not math.isfinite(value):
        return UNKNOWN
    text = f"{value:.{decimals}f}"
    if float(text) == 0.0:
        text = text.lstrip("-")
    return text.replace("-", "−").replace(".", _mark)


def clock_time(t_s: float) -> str:
    """Session time as minutes and seconds."""
    minutes, seconds = divmod(max(t_s, 0.0), 60.0)
    text = f"{int(minutes)}:{seconds:04.1f}" if seconds < 59.95 else f"{int(minutes) + 1}:00.0"
    return text.replace(".", _mark)


def spread(sd_deg: float) -> str:
    """A standard deviation in degrees: one decimal below ten, whole above."""
    number = signed(sd_deg, 1 if sd_deg < 10 else 0)
    return number if number == UNKNOWN else f"{number}°"
