"""Opens a long recording in a process of its own: ``python -m imufeedback.measure.opening FILE SEED``; JSON out."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

from imufeedback.commands import settings_of
from imufeedback.measure.memory import peak_mb
from imufeedback.record.library.places import trace_of
from imufeedback.record.samples import samples
from imufeedback.record.trace import Trace
from imufeedback.record.window import open_window

MINUTES = 12
DRAWN = 4000
"""Points of a trace that a wide screen can show."""


def main(path: Path, seed: int) -> dict[str, float]:
    began = time.perf_counter()
    window, trace = open_window(path), Trace(trace_of(path))
    overview = trace.stretch(at_most=DRAWN)
    opened_s = time.perf_counter() - began
    assert window.begin is not None
    settings = settings_of(window.begin)
    slowest_s, count = 0.0, 0
    rng = np.random.default_rng(seed)
    for start_s in rng.uniform(0, max(window.duration_s - 60, 1), MINUTES):
        began = time.perf_counter()
        trace.stretch(start_s, start_s + 60, at_most=DRAWN)
        items = window.items(start_s, start_s + 60)
        count += sum(len(block.t_s) for block in samples(window.begin, settings, items))
        slowest_s = max(slowest_s, time.perf_counter() - began)
    return {"opened_s": opened_s, "minute_s": slowest_s, "peak_gb": peak_mb() / 1e3, "samples": count,
            "hours": window.duration_s / 3600, "overview": len(overview.t_s)}  # fmt: skip


if __name__ == "__main__":
    sys.stdout.write(json.dumps(main(Path(sys.argv[1]), int(sys.argv[2]))))
