"""Bars as SVG that stands in the page itself."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

WIDTH, ROW, LABEL, NUMBER = 600, 26, 120, 60
LONGEST = 4.0
"""A bar longer than so many times the highlighted one is cut: one filter that fails must not flatten all others."""


def bars(values: Mapping[str, float], *, unit: str, highlight: str, floor: float | None, title: str) -> str:
    """A bar for each value, the smallest first; a dashed line at the floor. `title` is read out for the picture."""
    items = sorted(values.items(), key=lambda item: item[1])
    top = _scale(values, highlight, floor)
    room = WIDTH - LABEL - NUMBER
    height = ROW * len(items) + 8
    parts = [f'<svg viewBox="0 0 {WIDTH} {height}" role="img" aria-label="{escape(title)}">']
    for i, (name, value) in enumerate(items):
        parts.append(_bar(name, value, 4 + i * ROW, room * min(value / top, 1.0), unit, name == highlight, value > top))
    if floor is not None and floor <= top:
        x = LABEL + room * floor / top
        parts.append(f'<line class="floor" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{height}"/>')
    return "".join([*parts, "</svg>"])


def _scale(values: Mapping[str, float], highlight: str, floor: float | None) -> float:
    largest = max(values.values())
    own = values.get(highlight, largest)
    return max(min(largest, LONGEST * max(own, floor or 0.0)), 1e-9)


def _bar(name: str, value: float, y: float, length: float, unit: str, own: bool, cut: bool) -> str:
    middle = y + ROW / 2
    kind = "own" if own else "other"
    end = LABEL + length
    slash = f'<path class="cut" d="M{end - 14:.1f} {y + ROW - 4:.1f} l6 {-ROW + 4}"/>' if cut else ""
    return (
        f'<text class="{kind}" x="{LABEL - 8}" y="{middle:.1f}" text-anchor="end">{escape(name)}</text>'
        f'<rect class="{kind}" x="{LABEL}" y="{y + 3:.1f}" width="{max(length, 1):.1f}" height="{ROW - 8}"/>{slash}'
        f'<text x="{end + 6:.1f}" y="{middle:.1f}">{value:.2g}{escape(unit)}</text>'
    )
