"""Lines, bars and the body as SVG text: few, plain, inline. Numbers in, markup out; every text is escaped."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape

import numpy as np

from imufeedback.figure.shapes import LIGHT, Drawing, Label
from imufeedback.records import Floats, Ints
from imufeedback.report.story import minus

WIDTH, HEIGHT = 640, 340
LEFT, RIGHT, TOP, BOTTOM = 60, 20, 38, 58
"""Room for texts 22 high: on a phone that is a third of a picture's width they are read, and nothing is cut."""
POINTS_MAX = 160
"""Points of a line. Of more, the least and the greatest of each of their groups are drawn: peaks must stay."""
BAR, NAME, NUMBER = 28, 180, 80
"""Height of a bar; room for its name and its number."""
LONGEST = 4.0
"""A bar longer than so many times the highlighted one is cut: one filter that fails must not flatten all others."""


@dataclass(frozen=True, slots=True)
class PlotLine:
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
class Plot:
    """A plot of lines."""

    title: str
    """For those who do not see it."""
    x_title: str
    y_title: str
    lines: Sequence[PlotLine]
    x_ticks: Sequence[tuple[float, str]] | None = None
    """Places and texts, when they are not plain numbers."""
    y_include: Sequence[float] = field(default_factory=tuple)
    """Values that must be in the picture."""
    y_ticks: Sequence[tuple[float, str]] | None = None


def draw(picture: Plot) -> str:
    """The ``<svg>`` element; a sentence when there is nothing to draw."""
    shown = [one for one in picture.lines if np.isfinite(one.y).any()]
    if not shown:
        return "<p>There is nothing to draw.</p>"
    x_low, x_high = _range(np.concatenate([one.x for one in shown]), 0.02 if picture.x_ticks is None else 0.12)
    y_values = [one.y for one in shown] + [one.y + k * one.sd for one in shown if one.sd is not None for k in (-1, 1)]
    y_low, y_high = _range(np.concatenate([*y_values, np.array(picture.y_include, dtype=np.float64)]), 0.06)
    frame = _Frame(x_low, x_high, y_low, y_high)
    parts = [_begin(WIDTH, HEIGHT, picture.title), *frame.axes(picture)]
    parts += [frame.band(one) for one in shown if one.sd is not None]
    parts += [frame.line(one) for one in shown]
    return "".join([*parts, "</svg>"])


def bars(values: Mapping[str, float], *, unit: str, highlight: str, floor: float | None, title: str) -> str:
    """A bar for each value, the smallest first; a dashed line at the floor. `title` is read out for the picture."""
    largest = max(values.values())
    top = max(min(largest, LONGEST * max(values.get(highlight, largest), floor or 0.0)), 1e-9)
    room, height = WIDTH - NAME - NUMBER, BAR * len(values) + 8
    parts = [_begin(WIDTH, height, title)]
    for i, (name, value) in enumerate(sorted(values.items(), key=lambda item: item[1])):
        length, y, css = room * min(value / top, 1.0), 4 + i * BAR, "own" if name == highlight else "other"
        end, middle = NAME + length, y + BAR / 2 + 3
        parts.append(f'<text class="{css}" x="{NAME - 8}" y="{middle}" text-anchor="end">{escape(name)}</text>')
        parts.append(f'<rect class="{css}" x="{NAME}" y="{y + 3}" width="{max(length, 1):.1f}" height="{BAR - 8}"/>')
        if value > top:
            parts.append(f'<path class="cut" d="M{end - 14:.1f} {y + BAR - 4} l6 {-BAR + 4}"/>')
        parts.append(f'<text x="{end + 6:.1f}" y="{middle}">{value:.2g}{escape(unit)}</text>')
    if floor is not None and floor <= top:
        x = NAME + room * floor / top
        parts.append(f'<line class="floor" x1="{x:.1f}" x2="{x:.1f}" y1="0" y2="{height}"/>')
    return "".join([*parts, "</svg>"])


def _begin(width: float, height: float, title: str) -> str:
    return f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{escape(title)}">'


def body(drawing: Drawing, title: str, words: Callable[[Label], str]) -> str:
    """The body (`imufeedback.figure`) as an ``<svg>`` element in millimetres; `words` are those beside its parts."""
    left, bottom, right, top = drawing.box

    def place(point: tuple[float, float]) -> str:
        return f"{1e3 * (point[0] - left):.0f} {1e3 * (top - point[1]):.0f}"

    parts = [_begin(1e3 * (right - left), 1e3 * (top - bottom), title).replace("<svg", '<svg class="body"')]
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


def ticks(low: float, high: float, wanted: int) -> list[float]:
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

    def axes(self, picture: Plot) -> list[str]:
        bottom, right = HEIGHT - BOTTOM, WIDTH - RIGHT
        out = []
        for value, text in picture.y_ticks or _numbers(self.y_low, self.y_high, 6):
            at, css = self.y(value), "zero" if value == 0 and picture.y_ticks is None else "grid"
            out.append(f'<path class="{css}" d="M{LEFT} {at:.1f}H{right}"/>')
            out.append(f'<text x="{LEFT - 6}" y="{at + 4:.1f}" text-anchor="end">{escape(text)}</text>')
        for value, text in picture.x_ticks or _numbers(self.x_low, self.x_high, 8):
            at = self.x(value)
            out.append(f'<path class="grid" d="M{at:.1f} {TOP}V{bottom}"/>')
            out.append(f'<text x="{at:.1f}" y="{bottom + 22}" text-anchor="middle">{escape(text)}</text>')
        out.append(
            f'<text x="{(LEFT + right) / 2}" y="{HEIGHT - 8}" text-anchor="middle">{escape(picture.x_title)}</text>'
        )
        out.append(f'<text x="4" y="20">{escape(picture.y_title)}</text>')
        return out

    def line(self, line: PlotLine) -> str:
        label = f"<title>{escape(line.label)}</title>" if line.label else ""
        paths = "".join(f"M{self._points(line.x[run], line.y[run])}" for run in _runs(line.y))
        out = f'<path class="line {line.css}" d="{paths}">{label}</path>'
        if line.dots:
            known = np.isfinite(line.y)
            out += "".join(
                f'<circle class="dot {line.css}" cx="{self.x(x):.1f}" cy="{self.y(y):.1f}" r="4"/>'
                for x, y in zip(line.x[known], line.y[known], strict=True)
            )
        return out

    def band(self, line: PlotLine) -> str:
        assert line.sd is not None
        paths = []
        for run in _runs(line.y + line.sd):
            x = np.r_[line.x[run], line.x[run][::-1]]
            y = np.r_[(line.y - line.sd)[run], (line.y + line.sd)[run][::-1]]
            paths.append(f"M{self._points(x, y)}Z")
        return f'<path class="band {line.css}" d="{"".join(paths)}"/>'

    def _points(self, xs: Floats, ys: Floats) -> str:
        return "L".join(f"{self.x(x):.1f} {self.y(y):.1f}" for x, y in zip(xs, ys, strict=True))


def _runs(values: Floats) -> list[Ints]:
    """Where the stretches without NaN are, thinned to what can be seen."""
    edges = np.flatnonzero(np.diff(np.r_[False, np.isfinite(values), False].astype(np.int8))).reshape(-1, 2)
    return [first + _thinned(values[first:last]) for first, last in edges]


def _thinned(values: Floats) -> Ints:
    if len(values) <= POINTS_MAX:
        return np.arange(len(values))
    groups = np.array_split(np.arange(len(values)), POINTS_MAX // 2)
    ends = [(group[values[group].argmin()], group[values[group].argmax()]) for group in groups]
    return np.unique(np.r_[0, np.array(ends).ravel(), len(values) - 1])


def _numbers(low: float, high: float, wanted: int) -> list[tuple[float, str]]:
    return [(value, _tick(value)) for value in ticks(low, high, wanted)]


def _tick(value: float) -> str:
    return minus(value, 0) if value == round(value) else minus(value, 2).rstrip("0").rstrip(".")
