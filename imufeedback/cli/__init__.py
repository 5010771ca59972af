"""The command line: one file a verb. Nothing heavy is imported before a verb runs, so that ``--help`` comes at once."""

from __future__ import annotations

import sys
from typing import Annotated, NoReturn, cast

import typer

from imufeedback import __version__
from imufeedback.cli import (
    analyse,
    demo,
    export,
    fit,
    import_,
    latency,
    live,
    recordings,
    report,
    review,
    sensors,
    sounds,
    validate,
)
from imufeedback.errors import ImuFeedbackError, UsageError

app = typer.Typer(
    name="imufeedback",
    help="Live hip-angle feedback for golfers from small inertial sensors.",
    add_completion=False,
    pretty_exceptions_enable=False,
)
_ParserError = cast("type[typer.BadParameter]", typer.BadParameter.__mro__[2])
"""What typer's parser raises for every kind of wrong option; typer names only some of its kinds."""

STOPPED = 130
"""Exit status after Ctrl-C, as shells give it."""

app.command("demo")(demo.demo)
app.command("live")(live.live)
app.command("import")(import_.import_)
app.command("analyse")(analyse.analyse)
app.command("fit")(fit.fit)
app.command("export")(export.export)
app.command("report")(report.report)
app.command("review")(review.review)
app.add_typer(sensors.app, name="sensors")
app.command("sounds")(sounds.sounds)
app.command("latency")(latency.latency)
app.command("validate")(validate.validate)
app.add_typer(recordings.app, name="recordings")


def _version(wanted: bool) -> None:
    if wanted:
        print(__version__)
        raise typer.Exit


@app.callback(invoke_without_command=True)
def _top(
    context: typer.Context,
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Live hip-angle feedback for golfers from small inertial sensors."""
    if context.invoked_subcommand is None:
        print(context.get_help())
        raise UsageError("no command", hint="choose one of those above")


def main() -> None:
    """Run a verb. Exit status: 0 done, 1 the work failed, 2 wrong usage; an error is one line on stderr."""
    try:
        status = app(standalone_mode=False)  # else typer would print its own boxes for a wrong option
    except _ParserError as error:
        _leave(UsageError(_one_line(error.format_message()), hint="see --help"), 2)
    except UsageError as error:
        _leave(error, 2)
    except ImuFeedbackError as error:
        _leave(error, 1)
    except (KeyboardInterrupt, typer.Abort):
        status = STOPPED
    if status == STOPPED:
        print("imufeedback: stopped", file=sys.stderr)
    sys.exit(status if isinstance(status, int) else 0)


def _one_line(text: str) -> str:
    return " ".join(text.split()).rstrip(".")


def _leave(error: ImuFeedbackError, status: int) -> NoReturn:
    print(f"imufeedback: {error}", file=sys.stderr)
    sys.exit(status)
