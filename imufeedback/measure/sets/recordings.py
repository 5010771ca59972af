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

from imufeedback import resources
from imufeedback.begin import session_settings
from imufeedback.commands import Begin, recorded
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import archive, damage, process, recorder
from imufeedback.measure.checks import Band, Context, Measured, SetPart, at_most, exactly
from imufeedback.measure.golfer import items
from imufeedback.packets import parse_layout
from imufeedback.packets.encode import encode
from imufeedback.record.library import Library
from imufeedback.record.library.places import trace_of
from imufeedback.record.replay import read_items
from imufeedback.records import RawPacket, Segment
from imufeedback.report.page import session_page
from imufeedback.review.reporting import judgement, session_of
from imufeedback.synth.flaws import Flaw
from imufeedback.synth.player import Pace
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN

AT_ONCE = 2
"""Killed recorders at a time: as many as the smallest machine has processors."""
MEMORY_EVERY = 20
"""Every twentieth damaged file is read with an eye on the memory."""
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
    return subprocess.Popen([sys.executable, "-m", "imufeedback.measure.recorder", *paths], env=environment)


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
        found = [one for one in read_items(f"{stem}.mcap") if isinstance(one, RawPacket)]
    except ImuFeedbackError:
        return _Killed(False, float("inf"), False)
    whole = [one.payload for one in found] == [recorder.payload(k) for k in range(len(found))]
    first_missing_ns = (
        found[-1].host_ns if found else last_ns - int(1e9 * handed / (recorder.SENSORS * recorder.PACKETS_HZ))
    )
    return _Killed(True, (last_ns - first_missing_ns) * 1e-9 if len(found) < handed else 0.0, whole)


def fuzz(context: Context) -> Iterator[Measured]:
    """Bit flips, cuts at every byte, garbage."""
    rng = np.random.default_rng(context.seed)
    count = 500 if context.quick else 10_000
    path = context.work / "fuzz.mcap"
    whole = damage.small_recording(context.work / "whole.mcap")
    wrong, peak = [], 0
    for number, data in enumerate(damage.damaged(whole, count, rng)):
        watched = number % MEMORY_EVERY == 0  # watching the memory makes reading many times slower
        if watched:
            tracemalloc.start()
        said = damage.verdict(path, data, whole)
        if watched:
            peak = max(peak, tracemalloc.get_traced_memory()[1])
            tracemalloc.stop()
        wrong += [said] if said else []
    context.rows.extend({"set": "recordings", "damaged": said} for said in sorted(set(wrong)))
    yield Measured(f"{count} damaged files: read wrongly", float(len(wrong)), exactly(0), "files")
    yield Measured("damaged files: most memory asked for", peak / 1e6, at_most(200.0), "MB")


def library(context: Context) -> Iterator[Measured]:
    """Many sessions: open, filter, trend, and the index made again."""
    root = context.work / "library"
    count, reps = (60, 100) if context.quick else (1000, 100)
    archive.make_library(root, count, reps, np.random.default_rng(context.seed))
    began = time.perf_counter()
    Library(root).close()
    rate = count / (time.perf_counter() - began) * 60
    yield Measured(f"index made again from {count} recordings, a minute", rate, Band(500, None), "recordings")
    took = {}
    began = time.perf_counter()
    with Library(root) as found:
        took["open"] = time.perf_counter() - began
        began = time.perf_counter()
        wanted = {"trail_thigh_flat_turn_deg": (3.0, 8.0)}
        filtered = found.reps(where=wanted, sort="trail_thigh_angle_top_deg", limit=1000)
        took["filter"] = time.perf_counter() - began
        began = time.perf_counter()
        trend = found.trend("trail_thigh_flat_turn_deg")
        took["trend"] = time.perf_counter() - began
        right = sum(one.reps for one in trend) == count * reps and bool(filtered)
    for name, seconds in took.items():
        yield Measured(f"library of {count * reps} reps: {name}", seconds, at_most(0.3), "s")
    yield Measured("library: answers that are not complete", float(not right), exactly(0), "answers")


def long_recording(context: Context) -> Iterator[Measured]:
    """Hours of five sensors at 200 Hz: opened, and any minute of it."""
    hours = 0.25 if context.quick else 8.0
    path = context.work / "long.mcap"
    layout = parse_layout(resources.text("layouts", "house"), "house")
    roles = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH, Segment.LEFT_SHANK, Segment.RIGHT_SHANK)
    settings = session_settings(((f"SYN-{k}", role) for k, role in enumerate(roles)), "house", rules="")
    payload = encode(layout, 0, 0, np.zeros((4, 3)), np.full((4, 3), 5.0))
    archive.write_long(path, recorded(0, Begin.of(settings)), len(roles), hours, payload)
    archive.write_long_trace(trace_of(path), hours)
    opening = ("imufeedback.measure.opening", path, context.seed)
    found = process.child("-m", *opening, failed="opening failed", where=str(path))
    path.unlink()
    trace_of(path).unlink()
    yield Measured(f"{found['hours']:.2g} h of five sensors: opens in", found["opened_s"], at_most(5.0), "s")
    yield Measured("long recording: any minute, slowest of twelve", found["minute_s"], at_most(1.0), "s")
    yield Measured("long recording: most memory", found["peak_gb"], at_most(1.0), "GB")


def report(context: Context) -> Iterator[Measured]:
    """The report of a session that was judged before."""
    reps = 3 if context.quick else 100
    script = make_script(reps=reps, seed=context.seed, pace=Pace.SLOW if context.quick else Pace.FULL, flaw=Flaw.STALL)
    path = archive.write_items(context.work / "session.mcap", items(script, WORN), title="to report on")
    first = judgement(path, context.work, keep=True)
    began = time.perf_counter()
    text = session_page(session_of(judgement(path, context.work, keep=True)))
    yield Measured(f"report of {reps} reps, checked before", time.perf_counter() - began, at_most(3.0), "s")
    yield Measured("report: size", len(text.encode()) / 1e6, at_most(2.0), "MB")
    missing = reps - len(first.summary.reps)
    yield Measured("report: reps that are not in it", float(abs(missing)), exactly(0), "reps")


STEPS = (
    SetPart("killed recorders", kills),
    SetPart("damaged files", fuzz),
    SetPart("a large library", library),
    SetPart("a long recording", long_recording),
    SetPart("a report", report),
)
