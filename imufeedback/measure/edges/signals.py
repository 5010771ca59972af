"""Ctrl-C, termination and a terminal that goes away, at any moment of every long verb, each in a process of its own."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

import imufeedback
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure.archive import write_items
from imufeedback.measure.checks import Context, LeftOut, Measured, SetPart, exactly
from imufeedback.measure.golfer import items
from imufeedback.record.health import examine
from imufeedback.synth.script import make_script
from imufeedback.synth.sensors import WORN

FULL, QUICK = 40, 6
"""Moments: of every verb in full, of all together in quick."""
HANG_S = 30.0
_ROOT = f"{Path(imufeedback.__file__).parent}{os.sep}"
_NAMES = ("SIGINT", "SIGTERM", "SIGHUP")
_LEFT = ("*.part*", ".*.part*", "*.new", "imufeedback-*", ".*")
"""Names of what is only there for a while."""


@dataclass(frozen=True, slots=True)
class Verb:
    """A command that takes long: its words, with places of files in them, and how long it runs (seconds)."""

    words: str
    lasts_s: float
    window: bool = False


VERBS = (
    Verb("demo --headless --out {out}", 12.0),
    Verb("demo --no-realtime --reps 6 --out {out}", 8.0),
    Verb("demo --out {out}", 14.0, window=True),
    Verb("live --out {out}", 8.0, window=True),
    Verb("review {recordings}", 8.0, window=True),
    Verb("analyse {recording} --json {out}/a.json --angles {out}/a.csv", 4.0),
    Verb("analyse {recordings} --workers 2 --again --out {out}/reps.parquet", 8.0),
    Verb("export {recording} --format raw --out {out}/raw", 5.0),
    Verb("export {recording} --format csv --out {out}/a.csv", 4.0),
    Verb("report {recording} --out {out}/page.html", 4.0),
    Verb("import {folder} --out {out}/i.mcap", 3.0),
    Verb("recordings recover {recording} --out {out}", 1.2),
    Verb("report {recordings} --out {out}/page.html", 6.0),
    Verb("export {recording} --format reps --out {out}/reps.csv", 4.0),
    Verb("fit {recording} --keep", 4.0),
    Verb("recordings check {recording}", 1.2),
    Verb("recordings list --library {recordings}", 1.2),
    Verb("sensors watch --virtual --seconds 4", 6.0),
    Verb("sensors scan --virtual", 4.0),
    Verb("sensors check --virtual", 6.0),
    Verb("sensors align --virtual", 8.0),
    Verb("doctor", 3.0),
    Verb("sounds --play all", 6.0),
    Verb("latency --json {out}/latency.json", 8.0),
    Verb("latency --hour --quick --json {out}/hour.json", 6.0),
    Verb("validate --set edges --quick", 20.0),
    Verb("validate --set speed --quick", 10.0),
)


@dataclass(frozen=True, slots=True)
class Ended:
    """How one process ended."""

    verb: Verb
    name: str
    after_s: float
    status: int
    told: str
    hung: bool
    left: tuple[str, ...]
    """Temporary files and folders that are still there."""
    torn: tuple[str, ...]
    """Recordings that are not whole."""

    @property
    def traceback(self) -> bool:
        """One that this program could have prevented, its child processes' included."""
        return "Traceback" in self.told and not self.python_starting

    @property
    def python_starting(self) -> bool:
        """Ctrl-C came before the program's first line: Python itself answers, with a traceback."""
        ours = f'File "{_ROOT}' in self.told or "imufeedback: " in self.told
        return self.name == "SIGINT" and "KeyboardInterrupt" in self.told and not ours


def prepared(folder: Path, seed: int) -> Mapping[str, Path]:
    """Files that the verbs work on."""
    recordings = folder / "recordings"
    recordings.mkdir(parents=True)
    script = make_script(reps=3, seed=seed)
    for number in range(3):
        write_items(recordings / f"{number}.mcap", items(script, WORN), title=f"session {number}")
    recording = recordings / "0.mcap"
    words = ("export", recording, "--format", "raw", "--out", folder / "raw")
    done = subprocess.run([sys.executable, "-m", "imufeedback", *words], capture_output=True, text=True, check=False)
    if done.returncode:
        raise ImuFeedbackError(f"nothing to try signals on: {done.stderr.strip()[-200:]}", where="edges")
    return {"recordings": recordings, "recording": recording, "folder": folder / "raw"}


def interrupted(verb: Verb, name: str, after_s: float, given: Mapping[str, Path], work: Path) -> Ended:
    """Run a verb in folders of its own and send it one signal."""
    home, temporary, out, own = (work / one for one in ("home", "temporary", "out", "recordings"))
    for one in (home, temporary, out):
        one.mkdir(parents=True)
    shutil.copytree(given["recordings"], own)
    places = {**given, "recordings": own, "recording": own / "0.mcap", "out": out}
    words = [one.format(**places) for one in verb.words.split()]
    environment = os.environ | {"IMUFEEDBACK_HOME": str(home), "TMPDIR": str(temporary), "QT_QPA_PLATFORM": "offscreen"}
    command = [sys.executable, "-m", "imufeedback", *words]
    child = subprocess.Popen(
        command, stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env=environment, start_new_session=True,
    )  # fmt: skip
    with suppress(subprocess.TimeoutExpired):
        child.wait(after_s)
    child.send_signal(getattr(signal, name))
    hung = False
    try:
        _, told = child.communicate(timeout=HANG_S)
    except subprocess.TimeoutExpired:
        hung = True
        with suppress(ProcessLookupError):
            os.killpg(child.pid, signal.SIGKILL)
        _, told = child.communicate()
    left, torn = _left(work), tuple(str(one.relative_to(work)) for one in work.rglob("*.mcap") if not _whole(one))
    shutil.rmtree(work, ignore_errors=True)
    return Ended(verb, name, after_s, child.returncode, told, hung, left, torn)


def _left(work: Path) -> tuple[str, ...]:
    found = {one for pattern in _LEFT for one in work.rglob(pattern)} | set((work / "temporary").iterdir())
    return tuple(sorted(str(one.relative_to(work)) for one in found))


def _whole(path: Path) -> bool:
    try:
        return examine(path).complete
    except ImuFeedbackError:
        return False


def plan(rng: np.random.Generator, verbs: Sequence[Verb], *, quick: bool) -> list[tuple[Verb, str, float]]:
    """Verb, signal and moment of every process; early moments are as many as late ones."""
    count = QUICK if quick else FULL * len(verbs)
    start = int(rng.integers(len(verbs)))
    out = []
    for k in range(count):
        verb = verbs[(start + k) % len(verbs)]
        share = float(rng.random()) ** 2
        out.append((verb, _NAMES[k % len(_NAMES)], share * verb.lasts_s))
    return out


def measure(context: Context) -> Iterator[Measured]:
    """Lines of the set ``edges``."""
    if sys.platform == "win32":
        raise LeftOut("signals are sent the POSIX way")
    given = prepared(context.work / "signals", context.seed)
    rng = np.random.default_rng(context.seed)
    ended: list[Ended] = []
    for number, (verb, name, after_s) in enumerate(plan(rng, VERBS, quick=context.quick)):
        context.say(f"{name} after {after_s:.1f} s of {verb.words.split()[0]}")
        ended.append(interrupted(verb, name, after_s, given, context.work / f"signal{number}"))
    context.rows.extend(_row(one) for one in ended)
    yield Measured(f"{len(ended)} signals: tracebacks", sum(one.traceback for one in ended), exactly(0), "processes")
    yield Measured("the same: recordings not whole", sum(len(one.torn) for one in ended), exactly(0), "recordings")
    yield Measured("the same: temporary files left", sum(len(one.left) for one in ended), exactly(0), "files")
    yield Measured("the same: not over after 30 s", sum(one.hung for one in ended), exactly(0), "processes")


def _row(one: Ended) -> dict[str, Any]:
    return {
        "set": "edges",
        "trial": one.verb.words,
        "signal": one.name,
        "after_s": one.after_s,
        "status": one.status,
        "traceback": one.traceback,
        "python_starting": one.python_starting,
        "left": list(one.left),
        "torn": list(one.torn),
        "hung": one.hung,
    }


STEP = SetPart("signals at any moment", measure)
