"""One row a rep as CSV: marks, features and what was found."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from imufeedback.record.exports import Source
from imufeedback.record.files import whole_file

FIRST = ("rep", "kind", "start_s", "end_s")
LAST = ("faults", "unsure")


def write(source: Source, out: Path) -> str:
    reps = [one for one in source.summary["reps"] if one["end_s"] >= source.from_s and one["start_s"] <= source.to_s]
    marks = list(dict.fromkeys(name for one in reps for name in one["marks"]))
    features = list(dict.fromkeys(name for one in reps for name in one["features"]))
    with whole_file(out) as file:
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow([*FIRST, *(f"mark_{name}" for name in marks), *features, *LAST])
        for one in reps:
            numbers = [_number(one["marks"].get(name)) for name in marks]
            numbers += [_number(one["features"].get(name)) for name in features]
            start = [one["index"] + 1, one["kind"], _number(one["start_s"]), _number(one["end_s"])]
            rows.writerow([*start, *numbers, _rules(one, "fault"), _rules(one, "unsure")])
    return f"{len(reps)} reps"


def _number(value: float | None) -> str:
    return "" if value is None or not math.isfinite(value) else repr(float(value))


def _rules(rep: Mapping[str, Any], verdict: str) -> str:
    return " ".join(one["rule"] for one in rep["findings"] if one["verdict"] == verdict)
