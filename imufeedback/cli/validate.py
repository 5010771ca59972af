"""``validate``: what the tool promises, measured here and now."""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import check_writable, say, write_json
from imufeedback.errors import UsageError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from imufeedback.validate.checks import Context
    from imufeedback.validate.run import Report


def validate(
    set_name: Annotated[
        str | None, typer.Option("--set", metavar="NAME", help="One set of checks; all when missing.")
    ] = None,
    quick: Annotated[bool, typer.Option("--quick", help="Fewer players and shorter runs.")] = False,
    seed: Annotated[int, typer.Option(min=0, help="Which synthetic golfers.")] = 1,
    data: Annotated[
        Path | None,
        typer.Option(metavar="DIR", help="Folder of the recordings of people.", show_default=False),
    ] = None,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the lines there.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE of --json if it exists.")] = False,
) -> None:
    """Measure accuracy and speed against exact truth, recordings of people and other libraries; status 1 if a line
    does not hold."""
    if json_file is not None:
        check_writable(json_file, overwrite=overwrite)
    if data is not None and not data.is_dir():
        raise UsageError(f"--data {str(data)!r} is no folder", hint="check the name")
    from imufeedback.validate import sets
    from imufeedback.validate.checks import Context

    if set_name is not None:
        sets.steps(set_name)  # says what there is, before any work
    names = sets.available() if set_name is None else (set_name,)
    with tempfile.TemporaryDirectory(prefix="imufeedback-validate-") as work:
        report = _run(names, Context(Path(work), data or _data_folder(), quick, seed))
    _print(report)
    if json_file is not None:
        write_json(json_file, report.to_dict(), overwrite=overwrite)
    if not report.ok:
        raise typer.Exit(1)


def _data_folder() -> Path | None:
    """Where contributors keep the recordings: named in the environment, or beside the checkout, as for the tests."""
    folder = Path(os.environ.get("IMUFEEDBACK_DATA") or Path("..", "shared", "data"))
    return folder if folder.is_dir() else None


def _run(names: Sequence[str], context: Context) -> Report:
    """All sets, with a bar on stderr that says what is being measured."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    from imufeedback.validate import sets
    from imufeedback.validate.run import run_sets

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("starting", total=sum(len(sets.steps(name)) for name in names))
        begun = [False]

        def on_step(title: str) -> None:
            progress.update(task, description=title, advance=1 if begun[0] else 0)
            begun[0] = True

        return run_sets(names, context, on_step)


def _print(report: Report) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(width=None if sys.stdout.isatty() else 140, highlight=False)
    table = Table(title="quick, reduced runs" if report.quick else None)
    for name, justify in (("set", "left"), ("check", "left"), ("value", "right"), ("limit", "right"), ("", "left")):
        table.add_column(name, justify=justify)  # type: ignore[arg-type]
    for name, line in report.lines:
        value = "not measured" if line.value != line.value else f"{line.value:.3g} {line.unit}"
        table.add_row(name, line.check, value, str(line.limit), "holds" if line.ok else "[bold red]DOES NOT HOLD[/]")
    console.print(table)
    failed = sum(not line.ok for _, line in report.lines)
    console.print(f"{len(report.lines)} lines, {failed} of them do not hold")
    for missing in report.left_out:
        say(f"left out: {missing}")
