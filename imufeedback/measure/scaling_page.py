"""Cost against size as part of the page: a picture and a table for each curve (`scaling.Curve.row`)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from html import escape
from typing import Any

from imufeedback.measure.scaling import TRIAL

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 600, 240, 60, 40, 30, 52


def section(rows: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    """Nothing when no curve was measured."""
    curves = [one for one in rows if one.get("trial") == TRIAL]
    if not curves:
        return
    yield "<h2>What the work costs as it grows</h2>"
    yield (
        "<p>Processor time, both axes logarithmic. On the dashed line the cost is in proportion to the size; a point "
        "above it costs more than its share. The exponent is that of the power of the size that the cost goes with: 1 "
        "is in proportion, less is better, 2 grinds to a halt.</p>"
    )
    for one in curves:
        yield from _curve(one)


def _curve(row: Mapping[str, Any]) -> Iterable[str]:
    title = f"Cost against {row['what']}, {row['cost_unit']}"
    summed = (
        f"exponent {row['exponent']:.2f}; {row['each']:.3g} for each and {row['fixed']:.3g} beside them, "
        f"r² {row['r2']:.3f}"
    )
    yield f"<figure><figcaption>{escape(title)}: {summed}</figcaption>{picture(row, f'{title}: {summed}')}</figure>"
    yield '<div class="scroll" tabindex="0"><table><thead><tr>'
    for name in (row["unit"], row["cost_unit"], f"for each of the {row['unit']}"):
        yield f'<th scope="col" class="n">{escape(name)}</th>'
    yield "</tr></thead><tbody>"
    for size, cost in zip(row["sizes"], row["costs"], strict=True):
        cells = "".join(f'<td class="n">{value:.4g}</td>' for value in (size, cost, cost / size))
        yield f"<tr>{cells}</tr>"
    yield "</tbody></table></div>"


def picture(row: Mapping[str, Any], title: str) -> str:
    """Points on logarithmic axes, and a dashed line for a cost in proportion to the size, from the first point on.

    Both axes span the same ratio, so the dashed line ends in the corner; a point above it costs more than its share.
    `title` is read out for the picture.
    """
    sizes, costs = row["sizes"], row["costs"]
    span = max(max(sizes) / min(sizes), max(costs) / min(costs))
    x, y = _axis(min(sizes), span, LEFT, WIDTH - RIGHT), _axis(min(costs), span, HEIGHT - BOTTOM, TOP)
    trend = " ".join(f"{x(size):.1f},{y(cost):.1f}" for size, cost in zip(sizes, costs, strict=True))
    parts = [
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">',
        f'<line class="floor" x1="{LEFT}" y1="{HEIGHT - BOTTOM}" x2="{WIDTH - RIGHT}" y2="{TOP}"/>',
        f'<polyline class="trend" points="{trend}"/>',
        *(_point(x(size), y(cost), size, cost) for size, cost in zip(sizes, costs, strict=True)),
        f'<text x="{LEFT}" y="{HEIGHT - 8}">{escape(row["unit"])}</text>',
    ]
    return "".join([*parts, "</svg>"])


def _point(x: float, y: float, size: float, cost: float) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        f'<text x="{x:.1f}" y="{y - 14:.1f}" text-anchor="end">{cost:.3g}</text>'
        f'<text x="{x:.1f}" y="{HEIGHT - 26}" text-anchor="middle">{size:.3g}</text>'
    )


def _axis(least: float, span: float, begin: float, end: float) -> Callable[[float], float]:
    """From the least value to `span` times it, along these pixels, in logarithms."""
    each = (end - begin) / max(math.log(span), 1e-12)
    return lambda value: begin + each * math.log(value / least)
