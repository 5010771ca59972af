"""``analyse`` over many recordings: a bar or lines, what failed, a table of all reps, the index."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from imufeedback.cli.output import say, show

if TYPE_CHECKING:
    from collections.abc import Generator

    from rich.console import Console

    from imufeedback.review.many import RecordingOutcome, Way


def analyse_many(
    paths: Sequence[Path],
    way: Way,
    *,
    out: Path | None,
    overwrite: bool,
    workers: int | None,
    cluster: str | None,
    library: Path | None,
) -> None:
    """Judge all recordings of `paths`. Raises Exit with status 1 when any of them failed."""
    from imufeedback.review.many import RepFile, in_cluster, in_processes, recordings

    found = recordings(paths)
    table = None if out is None else RepFile()
    work = in_processes(found, way, workers) if cluster is None else in_cluster(found, way, cluster)
    tally = _Tally()
    with closing(work):
        for outcome in _shown(work, len(found)):
            tally.take(outcome)
            if table is not None:
                table.add(outcome["recording"], outcome["reps"])
    _update(paths, found, library)
    if table is not None and out is not None:
        say(f"{out}: {table.write(out, overwrite=overwrite)} rows")
    show(tally.words())
    for error in sorted(tally.errors):
        say(f"failed: {error}")
    if tally.errors:
        raise typer.Exit(1)


class _Tally:
    """Counts of what came of them."""

    def __init__(self) -> None:
        self.errors: list[str] = []
        self._judged = self._kept = self._reps = self._void = self._faulty = 0

    def take(self, outcome: RecordingOutcome) -> None:
        self._judged += outcome["state"] == "judged"
        self._kept += outcome["state"] == "kept"
        self._reps += sum(not one["void"] for one in outcome["reps"])
        self._void += sum(bool(one["void"]) for one in outcome["reps"])
        self._faulty += sum(bool(one["faults"]) for one in outcome["reps"])
        if outcome["state"] == "failed":
            self.errors.append(outcome["error"])

    def words(self) -> str:
        kept = f", {self._kept} were checked before" if self._kept else ""
        failed = f", {len(self.errors)} failed" if self.errors else ""
        void = f", {self._void} without a result" if self._void else ""
        reps = f"{self._reps} reps, {self._faulty} with a fault{void}"
        return f"{self._judged} recording(s) checked{kept}{failed}: {reps}"


def _shown(work: Generator[RecordingOutcome, None, None], count: int) -> Iterator[RecordingOutcome]:
    """The same outcomes; on a terminal with a bar, else with a line each."""
    from rich.console import Console

    console = Console(stderr=True)
    if console.is_terminal:
        yield from _with_bar(work, count, console)
        return
    for done, outcome in enumerate(work, 1):
        say(f"{done}/{count} {outcome['recording']}: {_word(outcome)}")
        yield outcome


def _with_bar(
    work: Generator[RecordingOutcome, None, None], count: int, console: Console
) -> Iterator[RecordingOutcome]:
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from imufeedback.record.files import shown

    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=console, transient=True) as progress:
        task = progress.add_task("starting", total=count)
        for outcome in work:
            progress.update(task, advance=1, description=shown(Path(outcome["recording"]).name))
            yield outcome


def _word(outcome: RecordingOutcome) -> str:
    if outcome["state"] == "failed":
        return "failed"
    notes = f" ({'; '.join(outcome['notes'])})" if outcome["notes"] else ""
    before = "checked before, " if outcome["state"] == "kept" else ""
    void = sum(bool(one["void"]) for one in outcome["reps"])
    unjudged = f", {void} without a result" if void else ""
    return f"{before}{len(outcome['reps']) - void} reps{unjudged}{notes}"


def _update(paths: Sequence[Path], found: Sequence[Path], library: Path | None) -> None:
    from imufeedback.record.library import Library
    from imufeedback.resources import data_folder
    from imufeedback.review.many import indexes

    for root in indexes(paths, found, library or data_folder() / "recordings"):
        Library(root).close()  # opening brings the index up to date
