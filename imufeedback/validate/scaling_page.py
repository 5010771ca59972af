"""Cost against size as part of the page: a picture and a table for each curve (`scaling.Curve.row`)."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from html import escape
from typing import Any

from imufeedback.validate.scaling import TRIAL

WIDTH, HEIGHT, LEFT, RIGHT, TOP, BOTTOM = 600, 220, 70, 40, 20, 44


def section(rows: Iterable[Mapping[str, Any]]) -> Iterable[str]:
    """Nothing when no curve was measured."""
    curves = [one for one in rows if one.get("trial") == TRIAL]
    if not curves:
        return
    yield "<h2>What the work costs as it grows</h2>"
    yield (
        "<p>Processor time. The line is straight; the exponent is that of the power of the size that the cost goes "
        "with: 1 is in proportion, less is better, 2 would be a tool that grinds to a halt.</p>"
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
    """Points and the straight line through them, from nothing on both axes. `title` is read out for the picture."""
    sizes, costs = row["sizes"], row["costs"]
    x = _axis(max(sizes), LEFT, WIDTH - RIGHT)
    y = _axis(max(costs), HEIGHT - BOTTOM, TOP)
    ends = [(size, row["fixed"] + row["each"] * size) for size in (min(sizes), max(sizes))]
    (x1, y1), (x2, y2) = [(x(size), y(max(cost, 0.0))) for size, cost in ends]
    parts = [
        f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(title)}">',
        f'<line class="trend" x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}"/>',
        *(_point(x(size), y(cost), size, cost) for size, cost in zip(sizes, costs, strict=True)),
        f'<text x="{LEFT}" y="{HEIGHT - 8}">{escape(row["unit"])}</text>',
    ]
    return "".join([*parts, "</svg>"])


def _point(x: float, y: float, size: float, cost: float) -> str:
    return (
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        f'<text x="{x - 8:.1f}" y="{y - 8:.1f}" text-anchor="end">{cost:.3g}</text>'
        f'<text x="{x:.1f}" y="{HEIGHT - 28}" text-anchor="middle">{size:.4g}</text>'
    )


def _axis(largest: float, begin: float, end: float) -> Callable[[float], float]:
    """From nothing to the largest value, along these pixels."""
    each = (end - begin) / max(largest, 1e-12)
    return lambda value: begin + each * value
