"""Fast, long and many: analysis against the pace of life, memory, live load, processes, a growing library, starts."""

from __future__ import annotations

import importlib.util
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from imufeedback import recursions, resources
from imufeedback.begin import session_settings
from imufeedback.ble.virtual import FaultScript, disturbed, parse_faults
from imufeedback.commands import Begin, recorded
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import live_load, process, scaling
from imufeedback.measure.archive import write_items
from imufeedback.measure.checks import Band, Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.endurance import lines as endurance
from imufeedback.measure.golfer import fit_command, items
from imufeedback.measure.players import typical
from imufeedback.measure.sets.windows import child, first_picture
from imufeedback.measure.speed import HOUSE, madgwick_alone, prepared, read_us, samples, vqf_alone
from imufeedback.packets import Layout, parse_layout
from imufeedback.record.exports.reps import Cell
from imufeedback.records import Item, RawPacket
from imufeedback.review.judging import judge
from imufeedback.review.many import RecordingOutcome, Way, in_cluster, in_processes
from imufeedback.settings import Player
from imufeedback.synth.script import Script, make_script
from imufeedback.synth.sensors import WORN
from imufeedback.synth.stream import SensorStream, sensor_streams

EIGHT_HOURS_S = 8 * 3600.0
BAD_DAY = "worst_day"
TIMES = "× real time"
FLAT = at_most(1.1)
"""In proportion to the size, with a little room for what timings scatter."""


def recording(path: Path, script: Script) -> Path:
    """A session of typical sensors as a recording."""
    return write_items(path, items(script, WORN, model=typical(soft_tissue=False)), title="speed")


def throughput(context: Context) -> Iterator[Measured]:
    """Processor time of judging a recording whole, and of one well-known filter alone on the same samples."""
    script = make_script(reps=2 if context.quick else 12, seed=context.seed)
    path = recording(context.work / "whole.mcap", script)
    begun = time.process_time()
    found = judge(path)
    ours_s = time.process_time() - begun
    given = samples(prepared(script))
    vqf_s, filter_s = (_busy_s(partial(work, given)) for work in (vqf_alone, madgwick_alone))
    context.rows.append({"set": "speed", "trial": "analysis", "ours_s": ours_s, "vqf_s": vqf_s, "madgwick_s": filter_s})
    core = "" if recursions.core is not None else ", all in Python"
    yield Measured(f"analysis of three sensors, one core{core}", found.duration_s / ours_s, Band(200, None), TIMES)
    yield Measured("the same / Madgwick (ahrs) alone", ours_s / filter_s, at_most(0.08), "ratio")
    yield Measured("the same / VQF alone", ours_s / vqf_s, at_most(25.0), "ratio")
    bad = write_items(context.work / "bad.mcap", bad_radio(script), title="speed")
    begun = time.process_time()
    found = judge(bad)
    bad_s = time.process_time() - begun
    yield Measured(f"the same, radio script {BAD_DAY}", found.duration_s / bad_s, Band(100, None), TIMES)


def bad_radio(script: Script) -> Iterator[Item]:
    """The session as the worst radio day that is shipped would deliver it."""
    text = resources.text("layouts", HOUSE)
    layout, faults = parse_layout(text, HOUSE), parse_faults(resources.text("radio", BAD_DAY), BAD_DAY)
    streams = sensor_streams(script, layout, model=typical(soft_tissue=False))
    worn = [(one.serial, one.segment) for one in streams]
    yield recorded(0, Begin.of(session_settings(worn, HOUSE, player=Player(hand=script.hand))))
    rest: list[Item] = [one for stream in streams for one in _disturbed(stream, faults, layout)]
    rest.append(fit_command(script))
    yield from sorted(rest, key=lambda one: one.host_ns)


def _disturbed(stream: SensorStream, faults: FaultScript, layout: Layout) -> Iterator[RawPacket]:
    for at_ns, payload in disturbed(iter(stream), faults, layout, stream.serial, str(stream.segment)):
        yield RawPacket(stream.serial, at_ns, payload)


def reading(context: Context) -> Iterator[Measured]:
    """Decoding and clock, over stretches as a recording is judged, and packet by packet as they come live."""
    stretch_us, live_us = read_us(make_script(reps=1 if context.quick else 6, seed=context.seed))
    context.rows.append({"set": "speed", "trial": "reading", "stretch_us": stretch_us, "live_us": live_us})
    yield Measured("decode and clock a packet, in a stretch", stretch_us, at_most(8.0), "µs")
    yield Measured("the same, one packet at a time", live_us, at_most(25.0), "µs")


_START = "import imufeedback.review.many.one, time; print(time.process_time())"


def worker_start(context: Context) -> Iterator[Measured]:
    """Processor time until a worker can judge its first recording; the best of some."""
    tries = 2 if context.quick else 5
    best = min(float(subprocess.check_output([sys.executable, "-c", _START], timeout=120)) for _ in range(tries))
    yield Measured("a worker's start, processor time (best of some)", best, at_most(0.7), "s")


def _busy_s(work: Callable[[], None]) -> float:
    begun = time.process_time()
    work()
    return time.process_time() - begun


_JUDGED = (
    "import sys, time; from pathlib import Path; from imufeedback.review.judging import judge; "
    "from imufeedback.measure.memory import peak_mb; "
    "begun = time.process_time(); judge(Path(sys.argv[1])); "
    "print([time.process_time() - begun, peak_mb()])"
)
DAY_REPS = 2200
"""So many reps one after the other take eight hours."""


def day(context: Context) -> Iterator[Measured]:
    """A short and a long session, each judged in a process of its own: time and peak memory of eight hours. The long
    one is that day itself; a quick run carries both along their line to it."""
    if sys.platform == "win32":
        raise LeftOut("the system does not say a process' peak")
    seconds, busy_s, peaks = [], [], []
    for reps in (2, 6) if context.quick else (20, DAY_REPS):
        script = make_script(reps=reps, seed=context.seed)
        path = recording(context.work / f"{reps}.mcap", script)
        used = process.child("-c", _JUDGED, path, failed="checking failed", where=str(path))
        path.unlink()
        seconds.append(script.duration_s)
        busy_s.append(float(used[0]))
        peaks.append(float(used[1]))
    context.rows.append({"set": "speed", "trial": "day", "seconds": seconds, "busy_s": busy_s, "peaks_mb": peaks})
    how = "carried on to 8 h" if context.quick else f"{seconds[-1] / 3600:.2f} h, whole"
    yield Measured(f"a day judged, one core ({how})", _at_eight_hours(seconds, busy_s), at_most(150), "s")
    yield Measured(f"a day judged: peak memory ({how})", _at_eight_hours(seconds, peaks), at_most(500), "MB")


def _at_eight_hours(seconds: Sequence[float], values: Sequence[float]) -> float:
    slope = max(values[1] - values[0], 0.0) / (seconds[1] - seconds[0])
    return values[1] + slope * (EIGHT_HOURS_S - seconds[1])


def live(context: Context) -> Iterator[Measured]:
    """Pipeline and recording at the pace of life."""
    share = 100 * live_load.measure(5.0 if context.quick else 60.0, context.seed)
    yield Measured("live, three sensors, without window", share, at_most(10), "% of a core")


def live_with_window(context: Context) -> Iterator[Measured]:
    """The same with the bay window. It must go on painting: few pictures would make a small share worth nothing."""
    found = child("load", 8.0 if context.quick else 60.0)
    context.rows.append({"set": "speed", "trial": "live with window", **found})
    yield Measured("live, three sensors, with window", 100 * found["share"], at_most(30), "% of a core")
    yield Measured("the same: pictures painted in a second", found["frames_per_s"], Band(25, None), "pictures")


def many(context: Context) -> Iterator[Measured]:
    """The same recordings by one process and by two. They are long enough for the work to outweigh the start of a
    process, as an archive's are."""
    if (os.cpu_count() or 1) < 2:
        raise LeftOut("there is only one core")
    script = make_script(reps=12 if context.quick else 40, seed=context.seed)
    data = recording(context.work / "one.mcap", script).read_bytes()
    folder = context.work / "many"
    folder.mkdir()
    paths = [folder / f"{k}.mcap" for k in range(6 if context.quick else 20)]
    for path in paths:
        path.write_bytes(data)
    one_s, two_s = (_all(paths, workers) for workers in (1, 2))
    check = f"{len(paths)} recordings of {script.duration_s / 60:.0f} minutes: two workers against one"
    yield Measured(check, one_s / two_s, Band(1.8, None), "ratio")


def _all(paths: Sequence[Path], workers: int) -> float:
    begun = time.perf_counter()
    states = [one["state"] for one in in_processes(paths, Way(again=True), workers)]
    if states != ["judged"] * len(paths):
        raise ImuFeedbackError("not every recording was checked", where="many")
    return time.perf_counter() - begun


def archive(context: Context) -> Iterator[Measured]:
    """Short recordings of players of their own, by two processes and by a cluster of two workers."""
    if importlib.util.find_spec("distributed") is None:
        raise LeftOut("the extra cluster is not installed")
    folder, players = context.work / "archive", 4 if context.quick else 20
    folder.mkdir()
    paths = [folder / f"{k:04}.mcap" for k in range(8 if context.quick else 1000)]
    for k, path in enumerate(paths[:players]):
        recording(path, make_script(reps=1, seed=context.seed + k))
    for k, path in enumerate(paths[players:]):
        shutil.copy(paths[k % players], path)
    found = {"processes": _outcomes(in_processes(paths, Way(again=True), 2))}
    with cluster_of(2) as address:
        found["cluster"] = _outcomes(in_cluster(paths, Way(again=True), address))
    (one, one_s), (other, other_s) = found.values()
    context.rows.append({"set": "speed", "trial": "archive", "processes_s": one_s, "cluster_s": other_s})
    differ = sum(one.get(str(path)) != other.get(str(path)) or not one[str(path)] for path in paths)
    name = f"archive of {len(paths)} recordings"
    yield Measured(f"{name}: other reps by a cluster than by processes, or none", differ, exactly(0), "recordings")
    yield Measured(f"{name}: by a cluster / by processes, two workers each", other_s / one_s, Band(None, None), "ratio")


def _outcomes(found: Iterable[RecordingOutcome]) -> tuple[dict[str, list[dict[str, Cell]]], float]:
    """The reps of each recording, and the seconds that all of them took."""
    begun = time.perf_counter()
    reps = {one["recording"]: one["reps"] for one in found}
    return reps, time.perf_counter() - begun


@contextmanager
def cluster_of(workers: int) -> Iterator[str]:
    """A scheduler and so many workers of this computer, each a process; its address."""
    distributed: Any = importlib.import_module("distributed")
    here = "127.0.0.1"
    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, host=here, dashboard_address=f"{here}:0"
    ) as running:
        yield running.scheduler_address


def library(context: Context) -> Iterator[Measured]:
    """Time of taking a rep into the index, small library against large."""
    curve = scaling.library(context.work, context.seed, (10, 30, 100) if context.quick else (10, 100, 1000))
    context.rows.append(curve.row())
    first, *_, last = (cost / size for size, cost in zip(curve.sizes, curve.costs, strict=True))
    check = f"cost of a rep, {curve.sizes[-1]:.0f} reps in the library against {curve.sizes[0]:.0f}"
    yield Measured(check, last / first, FLAT, "ratio")


def growth(context: Context) -> Iterator[Measured]:
    """Cost against number of sensors, rate and length: no worse than in proportion."""
    seed, tries = context.seed, 2 if context.quick else 3
    curves = (
        scaling.sensors(context.work, seed, (1, 3, 5) if context.quick else scaling.SENSORS, tries),
        scaling.rates(context.work, seed, tries=tries),
        scaling.lengths(context.work, seed, (1, 2, 5) if context.quick else (1, 4, 16, 64), tries),
    )
    for one in curves:
        context.rows.append(one.row())
        yield Measured(f"cost against {one.what}, exponent", one.exponent, FLAT, "power")


def starts(context: Context) -> Iterator[Measured]:
    """From the command to its end, or to the first picture; the best of some, because other programs run too."""
    tries = 3 if context.quick else 9
    for verb, limit in (("--help", 0.3), ("doctor", 1.5)):
        best = min(_run_s(verb) for _ in range(tries))
        yield Measured(f"imufeedback {verb} (best of some)", best, at_most(limit), "s")
    best = min(first_picture()["shown_s"] for _ in range(2 if context.quick else 5))
    yield Measured("window (best of some)", best, at_most(1.0), "s")


def _run_s(verb: str) -> float:
    begun = time.perf_counter()
    subprocess.run([sys.executable, "-m", "imufeedback", verb], capture_output=True, check=False, timeout=60)
    return time.perf_counter() - begun


STEPS = (
    SetPart("analysis of a recording", throughput),
    SetPart("reading packets", reading),
    SetPart("a worker's start", worker_start),
    SetPart("a whole day", day),
    SetPart("live", live),
    SetPart("live with window", live_with_window),
    SetPart("processes", many),
    SetPart("an archive", archive),
    SetPart("a growing library", library),
    SetPart("growing sessions", growth),
    SetPart("starts", starts),
    endurance.STEP,
)
