"""The picture: where the time goes, cue by cue, and how many cues are heard within a time."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

import numpy as np

from imufeedback.measure.latency.parts import PARTS, RunDelays
from imufeedback.records import Floats
from imufeedback.report import svg

WORDS: Mapping[str, str] = {
    "radio": "packet and radio",
    "engine": "engine",
    "hand_over": "waiting for the sound device",
    "output": "output",
}
COLOURS = ("#3b6ea5", "#c98b2b", "#7a7a7a", "#5c8f5a")
STYLE = """
svg { font: 13px system-ui, sans-serif } .line { fill: none; stroke-width: 2 } .grid { stroke: #e0e0e0 }
.zero { stroke: #888 } .floor { stroke: #000; stroke-dasharray: 4 3 }
"""
KEY = 46
"""Room for the key, as high as this."""


def picture(found: RunDelays, floor_sum_ms: float, title: str) -> str:
    """SVG of a run with cues, a file for itself."""
    parts = np.array([[cue.parts_ms()[part] for part in PARTS[:-1]] for cue in found.cues], dtype=np.float64)
    summed: Floats = parts.cumsum(axis=1)
    numbers = np.arange(1.0, len(parts) + 1)
    lines = [svg.PlotLine(numbers, summed[:, k], f"part{k}", WORDS[part]) for k, part in enumerate(PARTS[:-1])]
    lines.append(svg.PlotLine(numbers, np.full(len(parts), floor_sum_ms), "floor", "packet + interval + buffer"))
    total = np.sort(summed[:, -1])
    share = 100 * np.arange(1, len(total) + 1) / len(total)
    drawn = [
        svg.draw(svg.Plot(title, "cue", "ms from motion to sound", lines, y_include=(0.0,))),
        svg.draw(svg.Plot(title, "ms from motion to sound", "cues of 100", [svg.PlotLine(total, share, "part3")])),
    ]
    within = (f"{q} of 100 within {np.percentile(total, q):.0f} ms" for q in (50, 95, 99))
    key = "".join(
        f'<tspan fill="{colour}">━ {WORDS[part]} </tspan>' for part, colour in zip(PARTS[:-1], COLOURS, strict=True)
    )
    return "".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {svg.WIDTH} {KEY + 2 * svg.HEIGHT}">',
            f"<style>{STYLE}{''.join(f'.part{k} {{ stroke: {colour} }}' for k, colour in enumerate(COLOURS))}</style>",
            f'<text x="{svg.LEFT}" y="18">{escape(title)}: {"; ".join(within)}</text>',
            f'<text x="{svg.LEFT}" y="38">{key}</text>',
            *(
                f'<svg y="{KEY + k * svg.HEIGHT}" width="{svg.WIDTH}" height="{svg.HEIGHT}">{one}</svg>'
                for k, one in enumerate(drawn)
            ),
            "</svg>\n",
        ]
    )
