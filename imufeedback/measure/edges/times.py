"""Times that jump, in files and in recordings, in a process whose memory is measured; and large inputs."""

from __future__ import annotations

import json
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import process
from imufeedback.measure.archive import write_items
from imufeedback.measure.checks import Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.edges.commands import session
from imufeedback.measure.edges.texts import HANG_S, Hang, patience
from imufeedback.measure.memory import peak_mb
from imufeedback.record.csv_folder import SAMPLES_PER_PACKET
from imufeedback.record.exports.raw import HEADER
from imufeedback.record.importer import import_folder
from imufeedback.record.journal import JournalWriter
from imufeedback.record.table import write_angles
from imufeedback.records import Angles, Floats, Item, RawPacket
from imufeedback.review.judging import JudgedRecording, judge

FULL, QUICK = (600, 120), (60, 12)
"""Folders and recordings that are tried."""
BIG_MB, BIG_QUICK_MB = 100, 20
MOST_MB = 1000.0
NAMES = ("pelvis", "left_thigh", "right_thigh")
HZ, SECONDS = 50.0, 6.0
S = 1_000_000_000
EACH = 10
"""Samples in a packet of `session`."""
BETWEEN_S = 29.0
"""In `session`: after the first rep, before the second."""

GOOD = ("gap", "gap of some", "epoch")
"""Kinds of folders in which nothing is wrong."""

Outcome = str | None
"""What is wrong with what came out; None when nothing is."""


# ── folders ──────────────────────────────────────────────────────────────────────────────────────────────────────


def _standing(folder: Path, times: Mapping[str, Floats]) -> None:
    rng = np.random.default_rng(1)
    folder.mkdir(parents=True, exist_ok=True)
    for name, t_s in times.items():
        rest = rng.normal((0.0, 0.0, 0.0, 0.0, 9.81, 0.0), 0.01, (len(t_s), 6))
        rows = (
            f"{at!r}," + ",".join(f"{cell:.4f}" for cell in row)
            for at, row in zip(t_s.tolist(), rest.tolist(), strict=True)
        )
        (folder / f"{name}.csv").write_text(HEADER + "\n".join(rows) + "\n", encoding="utf-8")


def folder_case(folder: Path, rng: np.random.Generator) -> tuple[str, Callable[[], Outcome]]:
    """A folder whose times are spoilt: its kind, and what imports and judges it."""
    plain = np.arange(int(HZ * SECONDS)) / HZ
    which = [name for name in NAMES if rng.random() < 0.4] or [str(rng.choice(NAMES))]
    at = int(rng.integers(1, len(plain) - 1))
    by_s = float(10 ** rng.uniform(1.0, 9.9))
    kind = str(rng.choice(["gap", "gap of some", "epoch", "apart", "unit", "absurd", "none", "back", "twice"]))
    changed = plain.copy()
    if kind == "gap" or kind == "gap of some":
        changed[at:] += by_s
    elif kind in ("epoch", "apart"):
        changed += by_s if kind == "apart" else rng.uniform(1e5, 9e9)
    elif kind == "unit":
        changed *= float(rng.choice([1e-9, 1e-6, 1e-4, 1e3, 1e6, 1e9]))
    else:
        odd = {"absurd": [1e300, 1e10, -1e300], "none": [np.nan, np.inf, -np.inf]}
        changed[at] = rng.choice(odd[kind]) if kind in odd else plain[at - 1] - (0.5 if kind == "back" else 0.0)
    whole = kind in ("gap", "epoch")
    if kind == "apart" and len(which) == len(NAMES):
        which = which[1:]  # all moved alike are not apart
    _standing(folder, {name: changed if whole or name in which else plain for name in NAMES})
    return kind, partial(_import_and_judge, folder, kind, 3 * len(plain))


def _import_and_judge(folder: Path, kind: str, samples: int) -> Outcome:
    out = folder.with_suffix(".mcap")
    out.unlink(missing_ok=True)
    try:
        made = import_folder(folder, out)
    except ImuFeedbackError as error:
        if len(str(error).splitlines()) != 1:
            return "no clear line"
        return "lost: a good file was refused" if kind in GOOD else None
    judged = judge(out)
    told = judged.told
    if made.samples != samples or not _all_there(judged, samples, SAMPLES_PER_PACKET):
        return "lost: samples"
    word = made.wrong or made.notes or told.notices or told.rejected
    return None if word or (kind.startswith("gap") and told.gaps) else "wrong: without a word"


def _samples(judged: JudgedRecording) -> int:
    totals = judged.summary.totals
    return 0 if totals is None else totals.samples


def _all_there(judged: JudgedRecording, samples: int, each: int) -> bool:
    """A packet that was rejected is told, with the `each` samples in it."""
    return _samples(judged) + each * judged.told.rejected >= samples


# ── recordings ───────────────────────────────────────────────────────────────────────────────────────────────────


def recording_case(
    path: Path, clean: Sequence[Item], expected: JudgedRecording, rng: np.random.Generator
) -> tuple[str, Callable[[], Outcome]]:
    """A recording whose times jump: its kind, and what judges it."""
    items = list(clean)
    between = next(k for k, one in enumerate(items) if one.host_ns > BETWEEN_S * S)
    by_ns = int(10 ** rng.uniform(1.1, 9.3) * S)
    kind = str(rng.choice(["one", "gap", "epoch", "back", "sensor", "same", "begin"]))
    if kind == "one":
        for k in rng.choice(len(items) // 20, 3, replace=False) * 20 + 1:
            off = (2**63 - 1, -(2**63 - 1), items[k].host_ns + by_ns, items[k].host_ns - by_ns)
            items[k] = replace(items[k], host_ns=off[int(rng.integers(4))])
    elif kind in ("gap", "back"):
        move = later if kind == "gap" else _moved
        items[between:] = [move(one, by_ns if kind == "gap" else -by_ns) for one in items[between:]]
    elif kind == "epoch":
        items[1:] = [_moved(one, by_ns + 10**5 * S) for one in items[1:]]
    elif kind == "begin":
        items[0] = replace(items[0], host_ns=int(rng.choice([2**63 - 1, -(2**63 - 1)])))
    elif kind == "sensor":
        items = [_moved(one, by_ns) if getattr(one, "sensor", "") == "SYN-0001" else one for one in items]
    else:
        k = int(rng.integers(1, len(items) - 9))
        items[k : k + 8] = [replace(one, host_ns=items[k].host_ns) for one in items[k : k + 8]]
    return kind, partial(_record_and_judge, path, items, expected, kind)


def _moved(item: Item, by_ns: int) -> Item:
    return replace(item, host_ns=item.host_ns + by_ns)


def _record_and_judge(path: Path, items: Sequence[Item], expected: JudgedRecording, kind: str) -> Outcome:
    path.unlink(missing_ok=True)
    judged = judge(write_items(path, items))
    told = judged.told
    if kind == "sensor":  # what one of three says is not there
        return None if told.rejected or told.notices else "wrong: without a word"
    if not _all_there(judged, _samples(expected), EACH):
        return "lost: samples"
    if len(told.reps) != len(expected.told.reps):
        return "lost: reps"
    for rep, good in zip(told.reps, expected.told.reps, strict=True):
        if not rep.void and {one.rule for one in told.findings_of(rep)} != {
            one.rule for one in expected.told.findings_of(good)
        }:
            return "wrong: a rep with another result"
    return None if kind == "same" or told.notices or told.rejected else "wrong: without a word"


# ── large ones ───────────────────────────────────────────────────────────────────────────────────────────────────


def large_folder(folder: Path, megabytes: float) -> None:
    """All of it in one file, with rows as short as they can be: as many samples as the size holds."""
    folder.mkdir(parents=True)
    count = int(megabytes * 1e6 / 24)
    for name in NAMES:
        step = 1 if name == NAMES[0] else 100
        with open(folder / f"{name}.csv", "w", encoding="utf-8") as file:
            file.write(HEADER)
            for k in range(0, count, step):
                file.write(f"{k / 100:.2f},0,0,.{k % 9},0,9.8,.{k % 7}\n")


def large_recording(path: Path, megabytes: float) -> None:
    """The synthetic golfer again and again, until the file is so large."""
    clean = session(1)
    again = [one for one in clean[1:] if isinstance(one, RawPacket)]
    whole_ns = clean[-1].host_ns + 12_000_000
    size = sum(len(one.payload) + 80 for one in again)
    with JournalWriter(path) as journal:
        for item in clean:
            journal.write(item)
        for k in range(1, max(int(megabytes * 1e6 / size), 2)):
            for item in again:
                journal.write_in_turn(later(item, k * whole_ns))


def later(packet: Item, by_ns: int) -> Item:
    """With every sample's own time moved as well (`packets/layouts/lossless.toml`)."""
    if not isinstance(packet, RawPacket):
        return _moved(packet, by_ns)
    head, rows = packet.payload[:8], np.frombuffer(packet.payload, "<u8", offset=8).reshape(-1, 7).copy()
    rows[:, 0] += np.uint64(by_ns)
    return RawPacket(packet.sensor, packet.host_ns + by_ns, head + rows.tobytes())


def judge_large(path: Path, folder: Path) -> None:
    """As `analyse --angles` does."""
    angles: list[Angles] = []
    judge(path, trace=folder / "large.trace", on_angles=angles.append)
    write_angles(folder / "large.csv", angles)


# ── the process ──────────────────────────────────────────────────────────────────────────────────────────────────


def _outcome(work: Callable[[], Outcome]) -> str:
    signal.setitimer(signal.ITIMER_REAL, HANG_S)
    try:
        return work() or "fine"
    except Hang:
        return "hang"
    except BaseException as error:  # noqa: BLE001 - any exception is what is looked for
        return f"traceback {type(error).__name__}"
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


def run(folder: Path, seed: int, folders: int, recordings: int) -> Counter[str]:
    rng = np.random.default_rng(seed)
    tally: Counter[str] = Counter()
    clean = session(seed)
    expected = judge(write_items(folder / "clean.mcap", clean))
    with patience():
        for _ in range(folders):
            kind, work = folder_case(folder / "csv", rng)
            tally[f"folder, {kind}: {_outcome(work)}"] += 1
        for _ in range(recordings):
            kind, work = recording_case(folder / "jumps.mcap", clean, expected, rng)
            tally[f"recording, {kind}: {_outcome(work)}"] += 1
    return tally


def _in_a_process(*what: str | float | Path) -> dict[str, object]:
    found: dict[str, object] = process.child(
        "-m", "imufeedback.measure.edges.times", *what, failed="the process died", where="edges"
    )
    return found


def measure(context: Context) -> Iterator[Measured]:
    """Lines of the set ``edges``."""
    if not hasattr(signal, "setitimer"):
        raise LeftOut("this system has no timer that interrupts a reader")
    folder = context.work / "times"
    folder.mkdir()
    begun = time.perf_counter()
    told = _in_a_process("jumps", folder, context.seed, *(QUICK if context.quick else FULL))
    tally = dict[str, int](told["tally"])  # type: ignore[call-overload]
    context.rows.append({"set": "edges", "trial": "times", "seconds": time.perf_counter() - begun, **told})

    def count_of(*words: str) -> int:
        return sum(number for name, number in tally.items() if name.partition(": ")[2].startswith(words))

    yield Measured(
        f"times that jump, {sum(tally.values())}: tracebacks", count_of("traceback", "no clear"), exactly(0), "inputs"
    )
    yield Measured("the same: wrong without a word", count_of("wrong"), exactly(0), "inputs")
    yield Measured("the same: good data lost", count_of("lost"), exactly(0), "inputs")
    yield Measured("the same: longer than 30 s", count_of("hang"), exactly(0), "inputs")
    yield Measured("the same: peak memory", float(str(told["peak_mb"])), at_most(MOST_MB), "MB")
    size = BIG_QUICK_MB if context.quick else BIG_MB
    for what, title in (("folder", "import of CSV"), ("recording", "analyse and all angles")):
        context.say(f"{title}, {size} MB")
        large = _in_a_process(f"large-{what}", folder, size)
        context.rows.append({"set": "edges", "trial": f"large {what}", **large})
        yield Measured(f"{title}, {size} MB: peak memory", float(str(large["peak_mb"])), at_most(MOST_MB), "MB")


STEP = SetPart("times that jump, and large inputs", measure)


def _child(what: str, folder: Path, *numbers: str) -> dict[str, object]:
    if what == "jumps":
        seed, folders, recordings = map(int, numbers)
        return {"tally": run(folder, seed, folders, recordings)}
    if what == "large-folder":
        large_folder(folder / "large", float(numbers[0]))
        import_folder(folder / "large", folder / "imported.mcap")
        return {"mb": (folder / "imported.mcap").stat().st_size / 1e6}
    large_recording(folder / "large.mcap", float(numbers[0]))
    judge_large(folder / "large.mcap", folder)
    return {"mb": (folder / "large.mcap").stat().st_size / 1e6}


if __name__ == "__main__":
    made = _child(sys.argv[1], Path(sys.argv[2]), *sys.argv[3:])
    made["peak_mb"] = peak_mb()
    sys.stdout.write(json.dumps(made))
