"""The picture: where the time goes, cue by cue and in the middle."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from imufeedback.errors import CannotWrite
from imufeedback.measure.latency.parts import PARTS, Found

WORDS: Mapping[str, str] = {
    "radio": "packet and radio",
    "engine": "engine",
    "hand_over": "waiting for the sound device",
    "output": "output",
}
COLOURS = ("#3b6ea5", "#c98b2b", "#7a7a7a", "#5c8f5a")


def draw(found: Found, floor_sum_ms: float, title: str, path: Path) -> None:
    """Write the picture; the ending of `path` decides its kind. Raises CannotWrite."""
    import matplotlib as mpl

    mpl.use("Agg")
    from matplotlib import pyplot as plt

    rows = [one.parts_ms() for one in found.cues]
    figure, (left, right) = plt.subplots(1, 2, figsize=(11, 4.2), layout="constrained", width_ratios=(2, 1))
    below = np.zeros(len(rows))
    for part, colour in zip(PARTS[:-1], COLOURS, strict=True):
        values = np.array([row[part] for row in rows])
        left.bar(np.arange(len(rows)) + 1, values, bottom=below, width=1.0, color=colour, label=WORDS[part])
        below = below + values
    left.axhline(floor_sum_ms, color="black", linestyle="--", linewidth=1, label="packet + interval + buffer")
    left.set(xlabel="cue", ylabel="ms from motion to sound", title=title)
    left.legend(fontsize=8, loc="lower right")
    right.hist(below, bins=20, color=COLOURS[0])
    for q, style in ((50, "-"), (95, "--"), (99, ":")):
        value = float(np.percentile(below, q)) if len(below) else float("nan")
        right.axvline(value, color="black", linestyle=style, label=f"{q} of 100 within {value:.0f} ms")
    right.set(xlabel="ms from motion to sound", ylabel="cues")
    right.legend(fontsize=8)
    try:
        figure.savefig(path)
    except OSError as error:
        raise CannotWrite(f"the picture cannot be written ({error.strerror})", where=str(path)) from error
    finally:
        plt.close(figure)
