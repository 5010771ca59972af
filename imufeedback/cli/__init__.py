"""The command line: one file a verb. Nothing heavy is imported before a verb runs, so that ``--help`` comes at once."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from imufeedback import __version__
from imufeedback.cli import analyse, demo, import_
from imufeedback.errors import ImuFeedbackError, UsageError

app = typer.Typer(
    name="imufeedback",
    help="Live hip-angle feedback for golfers from small inertial sensors.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
)
app.command("demo")(demo.demo)
app.command("import")(import_.import_)
app.command("analyse")(analyse.analyse)


def _version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit


@app.callback()
def _top(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Live hip-angle feedback for golfers from small inertial sensors."""


def main() -> None:
    """Run a verb. Exit status: 0 done, 1 the work failed, 2 wrong usage; an error is one line on stderr."""
    try:
        app()
    except UsageError as error:
        _leave(error, 2)
    except ImuFeedbackError as error:
        _leave(error, 1)
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        sys.exit(130)


def _leave(error: ImuFeedbackError, status: int) -> None:
    print(f"imufeedback: {error}", file=sys.stderr)
    sys.exit(status)
