"""Side files spoilt in every way: read by what reads them, in a process whose memory and patience are measured."""

from __future__ import annotations

import json
import math
import shutil
import signal
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import FrameType
from typing import Any

import msgspec
import numpy as np

from imufeedback import people, resources, toml
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import process
from imufeedback.measure.checks import Context, LeftOut, Measured, SetPart, at_most, exactly
from imufeedback.measure.edges.spoilt import odd_files, spoilt
from imufeedback.measure.memory import peak_mb
from imufeedback.record import fits, session_file
from imufeedback.records import Fit, Level, Segment, SegmentFit, frozen
from imufeedback.rules import Limits, RuleSet, parse_limits, parse_rule_set, passed_over
from imufeedback.rules.plan import Plan, parse_plan
from imufeedback.rules.vocabulary import FEATURES
from imufeedback.texts import read_text

HANG_S = 30.0
FULL, QUICK = 5000, 300


@dataclass(frozen=True, slots=True)
class TextFile:
    """One kind of file: a good one, what reads it, and what would be wrong in a result although nothing was said."""

    name: str
    file: str
    good: bytes
    read: Callable[[Path], Any]
    wrong: Callable[[Any], str | None] = lambda made: None


class Hang(BaseException):
    """A reader took too long."""


def _number_wrong(made: Any) -> str | None:
    """NaN or infinity in what was accepted."""
    odd = [place for place, value in toml.floats(msgspec.to_builtins(made), "") if not math.isfinite(value)]
    return f"{odd[0]} is no number" if odd else None


def _rules_wrong(made: RuleSet) -> str | None:
    """A rule that was accepted and can never fire."""
    for rule in made.rules:
        if not rule.looked_at <= FEATURES or rule.contradiction():
            return f"rule {rule.id} can never fire"
    return _number_wrong(made)


def _limits_wrong(made: Limits) -> str | None:
    """A limit that switches its rule off, or that belongs to no rule, without a word."""
    swing = parse_rule_set(resources.text("rules", "swing"), "swing")
    unknown = made.limits.keys() - {rule.id for rule in swing.rules}
    if len(passed_over(swing, made)) != len(unknown):
        return "an unknown limit is not reported"
    return _number_wrong(made)


def _person_wrong(made: people.People) -> str | None:
    return None if len(made.all) + len(made.troubles) == 1 else "neither listed nor reported"


def _fit_wrong(made: fits.StoredFit | None) -> str | None:
    ok = made is None or all(math.isfinite(one.sd_rad) and np.isfinite(one.q_sb).all() for one in made.fit.segments)
    return None if ok else "a fit with a number that is none"


def _good_fit(folder: Path) -> bytes:
    segments = (Segment.PELVIS, Segment.LEFT_THIGH, Segment.RIGHT_THIGH)
    parts = tuple(SegmentFit(one, frozen([1.0, 0.0, 0.0, 0.0]), Level.GOOD, 0.05, "") for one in segments)
    return fits.store(folder, fits.StoredFit("robin", date(2026, 5, 1), Fit("made up", parts))).read_bytes()


def kinds(folder: Path) -> list[TextFile]:
    """All of them; `folder` is for making good ones."""
    rules, plan = resources.text("rules", "swing").encode(), resources.text("plans", "standard").encode()
    drill = resources.text("drills", "hip-turn-lead").encode()
    limits = b'format = 1\nplayer = "robin"\n[limits]\ntrail-thigh-keeps-falling = 8.0\n[live]\ntarget_deg = 3.0\n'
    person = people.to_toml(people.Person("Robin", height_m=1.78, notes="left hip tight")).encode()
    session_file.write_session(folder, session_file.SessionFile(title="t", rule_set=rules.decode()))
    session = (folder / session_file.SESSION_FILE).read_bytes()

    def rule_set(path: Path) -> RuleSet:
        return parse_rule_set(read_text(path), str(path))

    def plan_of(path: Path) -> Plan:
        return parse_plan(read_text(path), str(path))

    return [
        TextFile("limits", "limits.toml", limits, lambda path: parse_limits(read_text(path), str(path)), _limits_wrong),
        TextFile("rules", "rules.toml", rules, rule_set, _rules_wrong),
        TextFile("drills", "drill.toml", drill, rule_set, _rules_wrong),
        TextFile("plans", "plan.toml", plan, plan_of, _number_wrong),
        TextFile("players", "robin.toml", person, lambda path: people.load(path.parent), _person_wrong),
        TextFile(
            "fits", "fits/robin.json", _good_fit(folder), lambda path: fits.last(path.parents[1], "robin"), _fit_wrong
        ),
        TextFile("session", session_file.SESSION_FILE, session, lambda path: session_file.read_session(path.parent)),
    ]


def outcome(kind: TextFile, path: Path) -> str:
    """What came of reading a file: ``fine``, or what is wrong with it."""
    try:
        made = kind.read(path)
    except ImuFeedbackError as error:
        return "fine" if len(str(error).splitlines()) == 1 and str(error).isprintable() else "no clear line"
    except FileNotFoundError:
        return "fine"
    except Hang:
        return "hang"
    except BaseException as error:  # noqa: BLE001 - any other exception is what is looked for
        return f"traceback {type(error).__name__}"
    try:
        wrong = kind.wrong(made)
    except ImuFeedbackError as error:
        wrong = str(error)
    return f"wrong: {wrong}" if wrong else "fine"


def run(folder: Path, seed: int, count: int) -> Mapping[str, int]:
    """Read `count` spoilt files and all odd ones; how often each outcome came, with the kind of file."""
    rng = np.random.default_rng(seed)
    tally: Counter[str] = Counter()
    every = kinds(folder)
    with patience():
        for k in range(count):
            kind = every[k % len(every)]
            data = spoilt(kind.good, rng)
            path = _fresh(folder, kind)
            path.write_bytes(data)
            tally[f"{kind.name}: {_timed(kind, path)}"] += 1
            if path.read_bytes() != data:
                tally[f"{kind.name}: lost"] += 1
        for kind in every:
            for number in range(len(odd_files(_fresh(folder, kind)))):
                path = _fresh(folder, kind)
                odd_files(path)[number]()
                tally[f"{kind.name}: {_timed(kind, path)}"] += 1
    return tally


def _timed(kind: TextFile, path: Path) -> str:
    signal.setitimer(signal.ITIMER_REAL, HANG_S)
    try:
        return outcome(kind, path)
    except Hang:
        return "hang"
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)


class patience:  # noqa: N801 - used as a function
    """While it is entered, the timer's signal raises `Hang`."""

    def __enter__(self) -> None:
        def over(number: int, frame: FrameType | None) -> None:
            raise Hang

        self._before = signal.signal(signal.SIGALRM, over)

    def __exit__(self, *_: object) -> None:
        signal.signal(signal.SIGALRM, self._before)


def _fresh(folder: Path, kind: TextFile) -> Path:
    """The file's path in a folder of its own that is empty."""
    place = folder / kind.name
    with suppress(FileNotFoundError):
        shutil.rmtree(place)
    path = place / kind.file
    path.parent.mkdir(parents=True)
    return path


def measure(context: Context) -> Iterator[Measured]:
    """Lines of the set ``edges``."""
    if not hasattr(signal, "setitimer"):
        raise LeftOut("this system has no timer that interrupts a reader")
    count = QUICK if context.quick else FULL
    folder = context.work / "texts"
    folder.mkdir()
    begun = time.perf_counter()
    reader = ("imufeedback.measure.edges.texts", folder, context.seed, count)
    told = process.child("-m", *reader, failed="the reader died", where="edges")
    tally: Mapping[str, int] = told["tally"]
    context.rows.append({"set": "edges", "trial": "texts", "seconds": time.perf_counter() - begun, **told})
    tried = sum(number for name, number in tally.items() if not name.endswith(": lost"))

    def count_of(*words: str) -> int:
        return sum(number for name, number in tally.items() if name.partition(": ")[2].startswith(words))

    yield Measured(f"side files, {tried} bad ones: tracebacks", count_of("traceback", "no clear"), exactly(0), "files")
    yield Measured("the same: wrong without a word", count_of("wrong"), exactly(0), "files")
    yield Measured("the same: changed or lost by reading", count_of("lost"), exactly(0), "files")
    yield Measured("the same: longer than 30 s", count_of("hang"), exactly(0), "files")
    yield Measured("the same: peak memory", told["peak_mb"], at_most(1000), "MB")


STEP = SetPart("side files spoilt in every way", measure)


def _child() -> None:
    folder, seed, count = sys.argv[1:]
    tally = run(Path(folder), int(seed), int(count))
    sys.stdout.write(json.dumps({"tally": tally, "peak_mb": peak_mb()}))


if __name__ == "__main__":
    _child()
