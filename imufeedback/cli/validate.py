"""``validate``: what the tool promises, measured here and now."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from imufeedback.cli.output import check_writable, say, write_json
from imufeedback.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from rich.table import Table

    from imufeedback.measure.run import Report


def validate(
    set_name: Annotated[
        str | None, typer.Option("--set", metavar="NAME", help="One set of checks; all when missing.")
    ] = None,
    speed: Annotated[bool, typer.Option("--speed", help="The same as --set speed.")] = False,
    quick: Annotated[bool, typer.Option("--quick", help="Fewer players and shorter runs.")] = False,
    seed: Annotated[int, typer.Option(min=0, help="Which synthetic golfers.")] = 1,
    data: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of the recordings of people.", show_default=False),
    ] = None,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the lines there.")] = None,
    html_file: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write a page for coach and engineer there.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE of --json and --html.")] = False,
) -> None:
    """Measure accuracy and speed against exact truth, recordings of people and other libraries; status 1 if a line
    does not hold."""
    outputs = [one for one in (json_file, html_file) if one is not None]
    for path in outputs:
        check_writable(path, overwrite=overwrite)
    if len({path.resolve() for path in outputs}) < len(outputs):
        raise UsageError("--json and --html name the same file", hint="name two files")
    if data is not None and not data.is_dir():
        raise UsageError(f"--data {str(data)!r} is no folder", hint="check the name")
    if speed and set_name not in (None, "speed"):
        raise UsageError(f"--speed and --set {set_name} name two sets", hint="give one of them")
    from imufeedback.measure import sets

    set_name = "speed" if speed else set_name
    if set_name is not None:
        sets.steps(set_name)  # says what there is, before any work
    names = sets.available() if set_name is None else (set_name,)
    from imufeedback.record.unfinished import scratch_folder

    with scratch_folder("validate") as work:
        report = _run(names, work, data or _data_folder(), quick=quick, seed=seed)
    _print(report)
    if json_file is not None:
        write_json(json_file, report.to_dict(), overwrite=overwrite)
    if html_file is not None:
        _write_page(html_file, report, overwrite=overwrite)
    if report.stopped:
        raise KeyboardInterrupt  # the lines are out; the rest is as after any other stop
    if not report.ok:
        raise typer.Exit(1)


def _data_folder() -> Path | None:
    """Where contributors keep the recordings: named in the environment, or beside the checkout, as for the tests."""
    named = os.environ.get("IMUFEEDBACK_DATA")
    folder = Path(named or Path("..", "shared", "data"))
    if folder.is_dir():
        return folder
    if named:
        say(f"IMUFEEDBACK_DATA {named!r} is no folder: going on without the recordings of people")
    return None


def _write_page(path: Path, report: Report, *, overwrite: bool) -> None:
    from imufeedback.measure.page import page
    from imufeedback.record.files import whole_file

    with whole_file(path, overwrite=overwrite) as file:
        file.write(page(report))


def _run(names: Sequence[str], work: Path, data: Path | None, *, quick: bool, seed: int) -> Report:
    """All sets, with a bar on stderr that says what is being measured."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from imufeedback.measure import sets
    from imufeedback.measure.checks import Context
    from imufeedback.measure.run import run_sets

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("starting", total=sum(len(sets.steps(name)) for name in names))
        step = ""

        def on_step(title: str) -> None:
            nonlocal step
            progress.update(task, description=title, advance=1 if step else 0)
            step = title

        def on_part(part: str) -> None:
            progress.update(task, description=f"{step}: {part}")

        return run_sets(names, Context(work, data, quick, seed, say=on_part), on_step)


def _print(report: Report) -> None:
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    console = Console(width=None if sys.stdout.isatty() else 140, highlight=False)
    table = Table(title="quick, reduced runs" if report.quick else None)
    for name, justify in (("set", "left"), ("check", "left"), ("value", "right"), ("limit", "right"), ("", "left")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    for name, line in report.lines:
        value = "not measured" if line.value != line.value else f"{line.value:.3g} {line.unit}"
        table.add_row(
            name, escape(line.check), value, str(line.limit), "holds" if line.ok else "[bold red]DOES NOT HOLD[/]"
        )
    console.print(table)
    from imufeedback.measure.rows import of_methods

    compared = of_methods(report.rows)
    if compared:
        console.print(_methods(compared))
    people = _people(report.rows)
    if people is not None:
        console.print(people)
    failed = sum(not line.ok for _, line in report.lines)
    console.print(f"{len(report.lines)} lines, {failed} of them do not hold")
    for missing in report.left_out:
        say(f"left out: {missing}")
    for told in report.tracebacks:
        say(f"failed: {told}")
    if report.stopped:
        say(f"stopped at {report.stopped}: it and what comes after it is not measured")


def _people(rows: Sequence[dict[str, Any]]) -> Table | None:
    """Every angle of people's recordings, beside one plain filter a sensor; None when they were not measured."""
    from rich.table import Table

    from imufeedback.measure import people_table

    cells = people_table.table(rows)
    if not cells:
        return None
    table = Table(title="People: beside one VQF a sensor with the same calibration, on the samples that are shown")
    for name in people_table.HEADS:
        table.add_column(name, justify="left" if name in ("trial", "angle") else "right")
    for row in cells:
        table.add_row(*row)
    return table


def _methods(compared: list[dict[str, Any]]) -> Table:
    """Mean errors of every method over the trials of a set, with its time."""
    from rich.table import Table

    numbers = ("total_rmse_deg", "heading_rmse_deg", "inclination_rmse_deg", "floor_deg", "seconds")
    table = Table(title="Beside the well-known filters: RMS errors in degrees, mean over the trials")
    for name in ("set", "trials", "method", "total", "heading", "inclination", "floor", "seconds"):
        table.add_column(name, justify="left" if name in ("set", "method") else "right")
    groups: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for row in compared:
        groups.setdefault((row["set"], row["method"]), []).append(row)
    for (name, method), rows in groups.items():
        means = []
        for number in numbers:
            values = [row[number] for row in rows if row[number] is not None]
            means.append(f"{sum(values) / len(values):.2f}" if values else "–")
        table.add_row(name, str(len(rows)), method, *means)
    return table
