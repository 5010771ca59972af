"""All angles with their error bars as CSV: one row an instant, units in the header, always a decimal dot."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from imufeedback.record.exports import ExportSource
from imufeedback.record.files import whole_file

CHUNK = 20_000


def columns(source: ExportSource) -> list[str]:
    """Names of the columns: time, angles, and the standard deviation of each."""
    return ["time_s", *source.trace.columns, *(f"{one.removesuffix('_deg')}_sd_deg" for one in source.trace.columns)]


def write(source: ExportSource, out: Path) -> str:
    rows = 0
    part = source.trace.stretch(source.from_s, source.to_s)
    table = np.hstack([part.angle_deg, part.sd_deg])
    with whole_file(out) as file:
        file.write(",".join(columns(source)) + "\n")
        for first in range(0, len(table), CHUNK):
            rest = zip(part.t_s[first : first + CHUNK].tolist(), table[first : first + CHUNK].tolist(), strict=True)
            for t_s, row in rest:
                file.write(",".join([f"{t_s:.6f}", *("" if cell != cell else f"{cell:.4f}" for cell in row)]) + "\n")
                rows += 1
    return f"{rows} rows of {len(columns(source))} columns"
