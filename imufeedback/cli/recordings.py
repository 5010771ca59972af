"""``recordings``: look after the files. ``check`` and ``recover`` touch no original."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import say
from imufeedback.errors import ImuFeedbackError

app = typer.Typer(help="Look after recordings: check, recover.", no_args_is_help=True)

Files = Annotated[list[Path], typer.Argument(metavar="FILE…", help="Recordings.", show_default=False)]


@app.command("check")
def check(files: Files) -> None:
    """Say in words what is in each recording and what is not; status 1 unless every one is whole."""
    from imufeedback.record.health import examine

    whole = True
    for path in files:
        try:
            health = examine(path)
        except ImuFeedbackError as error:
            print(f"{path}\n  cannot be read: {error.what}{f' – {error.hint}' if error.hint else ''}")
            whole = False
            continue
        print("\n  ".join([str(path), *health.words()]))
        whole &= health.complete
    if not whole:
        raise typer.Exit(1)


@app.command("recover")
def recover(
    files: Files,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the copies.", show_default=False)
    ] = None,
) -> None:
    """Copy what can be read of damaged or unfinished recordings to new files, read back before success is told."""
    from imufeedback.record.recover import SUFFIX
    from imufeedback.record.recover import recover as recover_one

    failed = False
    for path in files:
        target = None if out is None else out / f"{path.stem}{SUFFIX}{path.suffix}"
        try:
            done = recover_one(path, target)
        except ImuFeedbackError as error:
            say(f"{path}: not recovered: {error.what}{f' – {error.hint}' if error.hint else ''}")
            failed = True
            continue
        print(f"{path} -> {done.copy.path}: {done.copy.items} items")
        for note in done.source.notes:
            print(f"  ! {note}")
    if failed:
        raise typer.Exit(1)
