"""Recordings nobody loses: killed writers, damaged files, long files."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from imufeedback.errors import ImuFeedbackError
from imufeedback.record.replay import read_items
from imufeedback.records import RawPacket
from imufeedback.validate import damage, recorder
from imufeedback.validate.checks import Context, Measured, Step, at_most, exactly

AT_ONCE = 2
"""Killed recorders at a time: as many as the smallest machine has processors."""
START_LIMIT_S = 30.0


@dataclass(frozen=True, slots=True)
class _Killed:
    opened: bool
    lost_s: float
    whole: bool
    """Every item that was read is one that was handed over, with none missing between."""


def kills(context: Context) -> Iterator[Measured]:
    """Kill -9 at random instants while recording."""
    rng = np.random.default_rng(context.seed)
    count = 10 if context.quick else 200
    after_s = rng.uniform(0.0, 1.2, count)
    found = []
    for first in range(0, count, AT_ONCE):
        part = range(first, min(first + AT_ONCE, count))
        running = [_start(context.work / f"kill-{k}") for k in part]
        found += [_kill(child, context.work / f"kill-{k}", after_s[k]) for child, k in zip(running, part, strict=True)]
    yield Measured(
        f"killed at {count} random instants: files that do not open", _no(f.opened for f in found), exactly(0), "files"
    )
    lost = max((one.lost_s for one in found), default=float("nan"))
    yield Measured("killed: most that was lost", lost, at_most(0.25), "s")
    yield Measured("killed: files with a hole or a message half read", _no(f.whole for f in found), exactly(0), "files")


def _no(values: Iterator[bool]) -> float:
    return float(sum(not one for one in values))


def _start(stem: Path) -> subprocess.Popen[bytes]:
    paths = [f"{stem}.mcap", f"{stem}.count"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(one for one in sys.path if one)}
    return subprocess.Popen([sys.executable, "-m", "imufeedback.validate.recorder", *paths], env=environment)


def _kill(child: subprocess.Popen[bytes], stem: Path, after_s: float) -> _Killed:
    numbers = Path(f"{stem}.count")
    end_s = time.monotonic() + START_LIMIT_S
    while not (numbers.exists() and any(numbers.read_bytes())):
        if time.monotonic() > end_s or child.poll() is not None:
            child.kill()
            raise ImuFeedbackError("the recorder did not start", where=str(stem))
        time.sleep(0.002)
    time.sleep(after_s)
    child.kill()
    child.wait()
    handed, last_ns = recorder.COUNT.unpack(numbers.read_bytes())
    try:
        items = [one for one in read_items(f"{stem}.mcap") if isinstance(one, RawPacket)]
    except ImuFeedbackError:
        return _Killed(False, float("inf"), False)
    whole = [one.payload for one in items] == [recorder.payload(k) for k in range(len(items))]
    first_missing_ns = (
        items[-1].host_ns if items else last_ns - int(1e9 * handed / (recorder.SENSORS * recorder.PACKETS_HZ))
    )
    return _Killed(True, (last_ns - first_missing_ns) * 1e-9 if len(items) < handed else 0.0, whole)


def fuzz(context: Context) -> Iterator[Measured]:
    """Bit flips, cuts at every byte, garbage."""
    rng = np.random.default_rng(context.seed)
    count = 500 if context.quick else 10_000
    path = context.work / "fuzz.mcap"
    whole = damage.small_recording(context.work / "whole.mcap")
    tracemalloc.start()
    try:
        wrong = [said for data in damage.damaged(whole, count, rng) if (said := damage.verdict(path, data, whole))]
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    context.rows.extend({"set": "recordings", "damaged": said} for said in sorted(set(wrong)))
    yield Measured(f"{count} damaged files: read wrongly", float(len(wrong)), exactly(0), "files")
    yield Measured("damaged files: most memory asked for", peak / 1e6, at_most(200.0), "MB")


STEPS = (
    Step("killed recorders", kills),
    Step("damaged files", fuzz),
)
