"""Lines over time as SVG that stands in the page itself: one small picture for each unit, all on the same hours."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from html import escape

import numpy as np
import numpy.typing as npt

WIDTH, HEIGHT = 600, 150
LEFT, RIGHT, TOP, BOTTOM = 78, 108, 12, 26
POINTS = 240
"""More than so many are drawn as the least and the greatest of each of their groups: peaks must stay to be seen."""
KINDS = ("own", "second", "third")

Values = Sequence[float | None]


def curves(t_s: Sequence[float], lines: Mapping[str, Values], *, unit: str, title: str) -> str:
    """The named lines over time, with their names at their ends; a scale from 0. `title` is read out.

    None is a gap: it is drawn through to the next value.
    """
    top = _nice(max((one for values in lines.values() for one in values if one is not None), default=1.0))
    end_s = max(t_s, default=1.0) or 1.0
    parts = [f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">']
    parts += [_rule(top * share, top, unit) for share in (0.0, 0.5, 1.0)]
    parts += [_hour(at_s, end_s, words) for at_s, words in _marks(end_s)]
    heights = _apart([_y(_last(values), top) for values in lines.values()])
    for (name, values), kind, height in zip(lines.items(), KINDS, heights, strict=False):
        parts.append(_line(t_s, values, end_s, top, kind))
        x = WIDTH - RIGHT + 6
        parts.append(f'<text class="{kind}" x="{x}" y="{height:.1f}">{escape(name)}</text>')
    return "".join([*parts, "</svg>"])


def _line(t_s: Sequence[float], values: Values, end_s: float, top: float, kind: str) -> str:
    known = [(at_s, value) for at_s, value in zip(t_s, values, strict=True) if value is not None]
    if not known:
        return ""
    at, value = _thinned(np.array(known))
    points = " ".join(f"{_x(a, end_s):.1f},{_y(v, top):.1f}" for a, v in zip(at, value, strict=True))
    return f'<polyline class="{kind}" points="{points}"/>'


def _thinned(known: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """``(N, 2)`` time and value to fewer, with every group's least and greatest in their order."""
    if len(known) <= POINTS:
        return known[:, 0], known[:, 1]
    keep: list[int] = []
    first = 0
    for group in np.array_split(known[:, 1], POINTS // 2):
        keep += sorted({first + int(group.argmin()), first + int(group.argmax())})
        first += len(group)
    return known[keep, 0], known[keep, 1]


def _x(t_s: float, end_s: float) -> float:
    return LEFT + (WIDTH - LEFT - RIGHT) * t_s / end_s


def _y(value: float, top: float) -> float:
    return HEIGHT - BOTTOM - (HEIGHT - TOP - BOTTOM) * value / top


def _last(values: Values) -> float:
    return next((one for one in reversed(values) if one is not None), 0.0)


def _apart(heights: Sequence[float], least: float = 16.0) -> list[float]:
    """Move names so that none stands on another, and none outside; their order stays."""
    order = sorted(range(len(heights)), key=lambda k: heights[k])
    out = list(heights)
    for above, below in itertools.pairwise(order):
        out[below] = max(out[below], out[above] + least)
    over = max(out, default=0.0) - (HEIGHT - BOTTOM)
    return [one - max(over, 0.0) for one in out]


def _rule(value: float, top: float, unit: str) -> str:
    y = _y(value, top)
    return (
        f'<line class="grid" x1="{LEFT}" x2="{WIDTH - RIGHT}" y1="{y:.1f}" y2="{y:.1f}"/>'
        f'<text x="{LEFT - 6}" y="{y:.1f}" text-anchor="end">{value:g} {escape(unit)}</text>'
    )


def _hour(at_s: float, end_s: float, words: str) -> str:
    x = _x(at_s, end_s)
    anchor = "start" if at_s == 0 else "middle"
    return f'<text x="{x:.1f}" y="{HEIGHT - 9}" text-anchor="{anchor}">{words}</text>'


def _marks(end_s: float) -> list[tuple[float, str]]:
    """Where time is written: in hours, minutes or seconds, about four times."""
    unit_s, word = next(((s, w) for s, w in ((3600.0, "h"), (60.0, "min")) if end_s >= 2 * s), (1.0, "s"))
    step = _nice(end_s / unit_s / 4, (1, 2, 5, 10))
    count = int(end_s / unit_s / step + 1e-9)
    return [(k * step * unit_s, f"{k * step:g} {word}" if k else "0") for k in range(count + 1)]


def _nice(value: float, of: Sequence[int] = (1, 2, 4, 5, 8, 10)) -> float:
    """The next of these numbers and their tenfolds."""
    if not value > 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(one * power for one in of if one * power >= value * (1 - 1e-9))
