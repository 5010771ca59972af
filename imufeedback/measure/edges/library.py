"""Bad files in a library: beside recordings, in their place, and the index itself.

A case is one bad file in a small library that was whole before. The neighbours must be listed as before; the session
itself must be as before, or a reason must be told.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from imufeedback import people
from imufeedback.errors import ImuFeedbackError
from imufeedback.measure import archive
from imufeedback.measure.checks import Context, Measured, SetPart, exactly
from imufeedback.measure.edges import bad
from imufeedback.measure.edges.forgetting import forgotten
from imufeedback.record import fits
from imufeedback.record.library import Library, places
from imufeedback.record.library.edits import add_edit
from imufeedback.record.library.library import SessionRow
from imufeedback.record.trace import Trace, TraceWriter
from imufeedback.records import Angles, PelvisAngles, frozen

SLOW_S = 30.0
AMONG = 50
NAMES = ("Ida", "Bo", "Cleo")


@dataclass
class CaseCounts:
    """What came of the cases."""

    tried: int = 0
    tracebacks: int = 0
    silent: int = 0
    """Another number or another state than before, and not a word."""
    hidden: int = 0
    """Cases in which another session was not listed, or otherwise than before."""
    slow: int = 0
    """Longer than 30 s."""
    said: list[str] = field(default_factory=list)
    """What failed, in words, the first ones."""

    def fail(self, kind: str, what: str) -> None:
        setattr(self, kind, getattr(self, kind) + 1)
        if len(self.said) < 20:
            self.said.append(f"{kind}: {what}")


def library_cases(rng: np.random.Generator, count: int) -> CaseCounts:
    """Try so many bad files, of every kind in turn."""
    counts = CaseCounts()
    with tempfile.TemporaryDirectory(prefix="imufeedback-edges-") as folder:
        case = _Case(Path(folder), rng)
        for number in range(count):
            kind, act = bad.PLACES[number % len(bad.PLACES)]
            counts.tried += 1
            began_s = time.monotonic()
            try:
                wrong = case.attempt(kind, act)
            except Exception as error:  # noqa: BLE001 - counting them is what this is for
                counts.fail("tracebacks", f"{kind}: {type(error).__name__}: {error}")
            else:
                for name, what in wrong:
                    counts.fail(name, f"{kind}: {what}")
            if time.monotonic() - began_s > SLOW_S:
                counts.fail("slow", kind)
            case.mend()
    return counts


class _Case:
    """A library with three sessions of three players, of which the first one's files are spoilt."""

    def __init__(self, folder: Path, rng: np.random.Generator) -> None:
        self.rng = rng
        self.whole, self.data = folder / "whole", folder / "data"
        root = self.whole / "recordings"
        for number, name in enumerate(NAMES):
            make_session(root / name / f"{number}.mcap", name, number, rng)
        _make_trace(places.trace_of(root / NAMES[0] / "0.mcap"), rng)
        everybody = people.load(self.whole / "players")
        for name in NAMES:
            everybody.save(people.Person(name))
        (self.whole / fits.FOLDER).mkdir()
        Library(root).close()
        self.mend()
        with Library(self.root) as library:
            self.before = _listed(library)

    @property
    def root(self) -> Path:
        return self.data / "recordings"

    @property
    def target(self) -> Path:
        return self.root / NAMES[0] / "0.mcap"

    def mend(self) -> None:
        """As it was before."""
        shutil.rmtree(self.data, ignore_errors=True)
        shutil.copytree(self.whole, self.data, symlinks=True)

    def attempt(self, kind: str, spoil: Callable[[Path, np.random.Generator], None]) -> list[tuple[str, str]]:
        """Spoil, list, compare; what is wrong."""
        if kind.startswith("player"):
            return self._player(spoil)
        if kind.startswith("fit"):
            return self._fit(spoil)
        if kind.startswith("trace"):
            return self._trace(spoil)
        path = {
            "edits": places.edits_of(self.target),
            "verdicts": places.verdicts_of(self.target),
            "recording": self.target,
            "index": self.root / places.INDEX,
            "name": self.target,
        }[kind.split(":")[0]]
        spoil(path, self.rng)
        with Library(self.root) as library:
            after, troubles = _listed(library), library.troubles
            library.trend(library.features[0], NAMES[0])
        return _compare(self.before, after, troubles, self.target.relative_to(self.root))

    def _player(self, spoil: Callable[[Path, np.random.Generator], None]) -> list[tuple[str, str]]:
        before = {one.name: one for one in people.load(self.data / "players").all}
        spoil(self.data / "players" / f"{NAMES[0]}.toml", self.rng)
        found = people.load(self.data / "players")
        after = {one.name: one for one in found.all}
        wrong = [("hidden", name) for name in NAMES[1:] if after.get(name) != before[name]]
        good = after.get(NAMES[0]) == before[NAMES[0]] or bool(found.troubles) or len(after) == len(before)
        return wrong if good else [*wrong, ("silent", "a player is missing without a word")]

    def _fit(self, spoil: Callable[[Path, np.random.Generator], None]) -> list[tuple[str, str]]:
        path = self.data / fits.FOLDER / f"{NAMES[0]}.json"
        path.write_text('{"format": 1, "player": "Ida", "day": "2026-01-01", "fit": {}}', encoding="utf-8")
        spoil(path, self.rng)
        try:
            found = fits.last(self.data, NAMES[0])
        except ImuFeedbackError:
            return []
        return [] if found is None else [("silent", "a calibration was made of nothing")]

    def _trace(self, spoil: Callable[[Path, np.random.Generator], None]) -> list[tuple[str, str]]:
        path = places.trace_of(self.target)
        data = path.read_bytes()
        spoil(path, self.rng)
        try:
            Trace(path)
        except ImuFeedbackError:
            return []
        return [] if path.is_file() and path.read_bytes() == data else [("silent", "a damaged trace was opened")]


def make_session(path: Path, name: str, number: int, rng: np.random.Generator) -> Path:
    """A recording of half a minute with two verdicts and a few edits."""
    started = datetime(2026, 1, 1, 10, tzinfo=UTC) + timedelta(days=number)
    path = archive.make_session(path, name, 30, title=f"session {number}", started=started)
    for version in ("0", "1"):
        archive.add_result(path, version, 3, rng, 30.0)
    add_edit(path, "tag", text="good")
    add_edit(path, "note", text="left hip tight")
    add_edit(path, "discard", rep=1)
    return path


def _make_trace(path: Path, rng: np.random.Generator) -> None:
    values = frozen(rng.normal(size=(200, 3)))
    with TraceWriter(path) as trace:
        t_s = frozen(np.arange(200) / 200)
        trace.add(Angles(t_s, PelvisAngles(t_s, values, values, values, frozen(np.ones((200, 3)), np.bool_)), ()))


def _listed(library: Library) -> dict[Path, tuple[dict[str, Any], list[dict[str, Any]]]]:
    """Sessions and reps, by path inside the library."""
    out: dict[Path, tuple[dict[str, Any], list[dict[str, Any]]]] = {}
    for row in library.sessions():
        out[row.path.relative_to(library.root)] = (_plain(row, library.root), [])
    for rep in library.reps():
        out[Path(rep.pop("path"))][1].append(
            {key: value for key, value in rep.items() if key != "session" and value is not None}
        )
    return out


def _plain(row: SessionRow, root: Path) -> dict[str, Any]:
    return {**asdict(row), "path": row.path.relative_to(root)}


def _compare(before: Any, after: Any, troubles: list[str], target: Path) -> list[tuple[str, str]]:
    wrong = [("hidden", str(path)) for path in before if path != target and after.get(path) != before[path]]
    if after.get(target) == before[target]:
        return wrong
    row = None if target not in after else after[target][0]
    told = troubles or (row is not None and (row["trouble"] or row["beside"] or not row["closed"]))
    renamed = row is None and len(after) == len(before)
    return wrong if told or renamed else [*wrong, ("silent", f"{row}")]


def side_files(context: Context) -> Iterator[Measured]:
    """Every kind of bad file, again and again with other content."""
    count = 300 if context.quick else 3000
    found = library_cases(np.random.default_rng([context.seed, 161]), count)
    context.rows.extend({"set": "edges", "library": one} for one in found.said)
    yield from lines(f"{found.tried} bad files in a library", found)


def lines(what: str, found: CaseCounts) -> Iterator[Measured]:
    yield Measured(f"{what}: tracebacks", found.tracebacks, exactly(0), "cases")
    yield Measured(f"{what}: wrong without a word", found.silent, exactly(0), "cases")
    yield Measured(f"{what}: another session hidden or changed", found.hidden, exactly(0), "cases")
    yield Measured(f"{what}: longer than {SLOW_S:.0f} s", found.slow, exactly(0), "cases")


def one_among_fifty(context: Context) -> Iterator[Measured]:
    """One bad recording, of each kind, among fifty: the others are listed, and the reason is told."""
    rng = np.random.default_rng([context.seed, 162])
    root = context.work / "fifty"
    for number in range(AMONG):
        make_session(root / f"player {number % 5}" / f"{number}.mcap", f"player {number % 5}", number, rng)
    Library(root).close()
    fewest, untold = AMONG, 0
    for kind, spoil in bad.PLACES:
        if not kind.startswith(("recording", "edits", "verdicts", "index")):
            continue
        here = context.work / "spoilt"
        shutil.copytree(root, here, symlinks=True)
        chosen = here / "player 2" / f"{5 * int(rng.integers(AMONG // 5)) + 2}.mcap"
        spoil({"recording": chosen, "edits": places.edits_of(chosen), "verdicts": places.verdicts_of(chosen),
               "index": here / places.INDEX}[kind.split(":")[0]], rng)  # fmt: skip
        with Library(here) as library:
            rows = {row.path: row for row in library.sessions()}
            good = sum(not row.trouble and row.reps == 3 for path, row in rows.items() if path != chosen)
            row = rows.get(chosen)
            told = library.troubles or row is None or row.trouble or row.beside or not row.closed or row.reps == 3
        fewest, untold = min(fewest, good), untold + (not told)
        shutil.rmtree(here)
    yield Measured(f"one bad file among {AMONG}: other sessions listed, fewest", fewest, exactly(AMONG - 1), "sessions")
    yield Measured(f"one bad file among {AMONG}: kinds without a reason", untold, exactly(0), "kinds")


STEPS = (
    SetPart("bad files in a library", side_files),
    SetPart("one bad file among fifty", one_among_fifty),
    SetPart("a player deleted", forgotten),
)
