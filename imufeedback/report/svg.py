"""Line pictures as SVG text: few, plain, inline. Numbers in, markup out; every text is escaped."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from imufeedback.figure.shapes import LIGHT, Drawing, Label
from imufeedback.records import Floats
from imufeedback.report.story import minus

WIDTH, HEIGHT = 640, 330
LEFT, RIGHT, TOP, BOTTOM = 52, 14, 12, 44
POINTS_MAX = 160
"""Points of a line; more cannot be told apart."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line, with its band of one standard deviation when `sd` is given. NaN breaks it."""

    x: Floats
    y: Floats
    css: str
    """Class that gives it colour and stroke."""
    label: str = ""
    """Told when the pointer rests on it."""
    sd: Floats | None = None
    dots: bool = False


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot of lines."""

    title: str
    """For those who do not see it."""
    x_title: str
    y_title: str
    lines: Sequence[Line]
    x_ticks: Sequence[tuple[float, str]] | None = None
    """Places and texts, when they are not plain numbers."""
    y_include: Sequence[float] = field(default_factory=tuple)
    """Values that must be in the picture."""


def draw(picture: Picture) -> str:
    """The ``<svg>`` element; a sentence when there is nothing to draw."""
    shown = [one for one in picture.lines if np.isfinite(one.y).any()]
    if not shown:
        return "<p>There is nothing to draw.</p>"
    x_low, x_high = _range(np.concatenate([one.x for one in shown]), 0.02 if picture.x_ticks is None else 0.09)
    y_values = [one.y for one in shown] + [one.y + k * one.sd for one in shown if one.sd is not None for k in (-1, 1)]
    y_low, y_high = _range(np.concatenate([*y_values, np.array(picture.y_include, dtype=np.float64)]), 0.06)
    frame = _Frame(x_low, x_high, y_low, y_high)
    parts = [f'<svg viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{escape(picture.title)}">']
    parts += frame.axes(picture)
    parts += [frame.band(one) for one in shown if one.sd is not None]
    parts += [frame.line(one) for one in shown]
    return "".join([*parts, "</svg>"])


def body(drawing: Drawing, title: str, words: Callable[[Label], str]) -> str:
    """The body (`imufeedback.figure`) as an ``<svg>`` element in millimetres; `words` are those beside its parts."""
    left, bottom, right, top = drawing.box

    def place(point: tuple[float, float]) -> str:
        return f"{1e3 * (point[0] - left):.0f} {1e3 * (top - point[1]):.0f}"

    size = f"{1e3 * (right - left):.0f} {1e3 * (top - bottom):.0f}"
    parts = [f'<svg class="body" viewBox="0 0 {size}" role="img" aria-label="{escape(title)}">']
    for shape in drawing.shapes:
        ink = LIGHT[shape.part]
        dash = ' stroke-dasharray="18 12"' if ink.dash else ""
        line = f' stroke="{ink.line}" stroke-width="{1e3 * ink.width_m:.0f}"{dash}' if ink.line else ""
        fill = f'fill="{ink.fill}" fill-opacity="{ink.opacity:g}"' if ink.fill and shape.closed else 'fill="none"'
        path = "L".join(place(one) for one in shape.points)
        parts.append(f'<path {fill}{line} stroke-linejoin="round" d="M{path}{"Z" if shape.closed else ""}"/>')
    for label in drawing.labels:
        x, y = place(label.at).split()
        anchor = {-1: "start", 0: "middle", 1: "end"}[label.anchor]
        parts.append(
            f'<text x="{x}" y="{y}" dy="0.4em" font-size="60" text-anchor="{anchor}">{escape(words(label))}</text>'
        )
    return "".join([*parts, "</svg>"])


def _range(values: Floats, room: float) -> tuple[float, float]:
    known = values[np.isfinite(values)]
    low, high = float(known.min()), float(known.max())
    margin = max((high - low) * room, 0.5 if high == low else 0.0)
    return low - margin, high + margin


def ticks(low: float, high: float, wanted: int = 6) -> list[float]:
    """Multiples of 1, 2 or 5 times a power of ten between two ends."""
    raw = (high - low) / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(one * power for one in (1, 2, 5, 10) if one * power >= raw)
    return [step * k for k in range(math.ceil(low / step), math.floor(high / step) + 1)]


@dataclass(frozen=True, slots=True)
class _Frame:
    """From values to places in the picture."""

    x_low: float
    x_high: float
    y_low: float
    y_high: float

    def x(self, value: float) -> float:
        return LEFT + (value - self.x_low) / (self.x_high - self.x_low) * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        return HEIGHT - BOTTOM - (value - self.y_low) / (self.y_high - self.y_low) * (HEIGHT - TOP - BOTTOM)

    def axes(self, picture: Picture) -> list[str]:
        bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
        out = []
        for value in ticks(self.y_low, self.y_high):
            at, css = self.y(value), "zero" if value == 0 else "grid"
            out.append(f'<path class="{css}" d="M{LEFT} {at:.1f}H{right}"/>')
            out.append(f'<text x="{LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{_tick(value)}</text>')
        places = picture.x_ticks
        if places is None:
            places = [(value, _tick(value)) for value in ticks(self.x_low, self.x_high, 8)]
        for value, text in places:
            at = self.x(value)
            out.append(f'<path class="grid" d="M{at:.1f} {TOP}V{bottom}"/>')
            out.append(f'<text x="{at:.1f}" y="{bottom + 17}" text-anchor="middle">{escape(text)}</text>')
        out.append(
            f'<text x="{(LEFT + right) / 2}" y="{HEIGHT - 6}" text-anchor="middle">{escape(picture.x_title)}</text>'
        )
        middle = (TOP + bottom) / 2
        out.append(
            f'<text x="14" y="{middle}" text-anchor="middle" transform="rotate(-90 14 {middle})">'
            f"{escape(picture.y_title)}</text>"
        )
        return out

    def line(self, line: Line) -> str:
        label = f"<title>{escape(line.label)}</title>" if line.label else ""
        paths = "".join(
            "M" + "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in zip(xs, ys, strict=True))
            for xs, ys in _runs(line.x, line.y)
        )
        out = f'<path class="line {line.css}" d="{paths}">{label}</path>'
        if line.dots:
            known = np.isfinite(line.y)
            out += "".join(
                f'<circle class="dot {line.css}" cx="{self.x(x):.1f}" cy="{self.y(y):.1f}" r="4"/>'
                for x, y in zip(line.x[known], line.y[known], strict=True)
            )
        return out

    def band(self, line: Line) -> str:
        assert line.sd is not None
        paths = []
        for (xs, low), (_, high) in zip(_runs(line.x, line.y - line.sd), _runs(line.x, line.y + line.sd), strict=True):
            around = [(x, y) for x, y in zip(xs, low, strict=True)] + list(zip(xs, high, strict=True))[::-1]
            paths.append("M" + "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in around) + "Z")
        return f'<path class="band {line.css}" d="{"".join(paths)}"/>'


def _runs(x: Floats, y: Floats) -> list[tuple[Floats, Floats]]:
    """Stretches without NaN, thinned to what can be seen."""
    edges = np.flatnonzero(np.diff(np.r_[False, np.isfinite(y), False].astype(np.int8))).reshape(-1, 2)
    out = []
    for first, last in edges:
        pick = np.unique(np.linspace(first, last - 1, min(last - first, POINTS_MAX)).astype(np.int64))
        out.append((x[pick], y[pick]))
    return out


def _tick(value: float) -> str:
    return minus(value, 0) if value == round(value) else minus(value, 2).rstrip("0").rstrip(".")
