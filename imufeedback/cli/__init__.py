"""The command line: one file a verb. Nothing heavy is imported before a verb runs, so that ``--help`` comes at once."""

from __future__ import annotations

import sys
from typing import Annotated, NoReturn, cast

import typer

from imufeedback import __version__
from imufeedback.cli import (
    analyse,
    demo,
    doctor,
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
    rich_markup_mode=None,  # the boxes would take half of the time that --help takes
)
_ParserError = cast("type[typer.BadParameter]", typer.BadParameter.__mro__[2])
"""What typer's parser raises for every kind of wrong option; typer names only some of its kinds."""

STOPPED = 130
"""Exit status after Ctrl-C, as shells give it."""

app.command("demo", short_help="The whole tool without hardware, with a virtual golfer")(demo.demo)
app.command("live", short_help="The windows for the bay and for the range")(live.live)
app.command("import", short_help="A folder of CSV files becomes a recording")(import_.import_)
app.command("analyse", short_help="Judge a recording again: table, summary, angles")(analyse.analyse)
app.command("fit", short_help="Fit a recording's sensors to the body again")(fit.fit)
app.command("export", short_help="Angles, reps or samples as CSV, Parquet or C3D")(export.export)
app.command("report", short_help="One page: what was worked on, the trend, what is next")(report.report)
app.command("review", short_help="The window for home: sessions, reps, playback, trends")(review.review)
app.add_typer(sensors.app, name="sensors")
app.command("sounds", short_help="What the tool can say by sound; let it be heard")(sounds.sounds)
app.command("latency", short_help="Measure the delay from motion to sound")(latency.latency)
app.command("doctor", short_help="Is everything there that a session needs?")(doctor.doctor)
app.command("validate", short_help="Measure accuracy and speed, and say what holds")(validate.validate)
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
        if "\n" in error.format_message():  # the help of a verb with verbs of its own
            print(error.format_message())
            _leave(UsageError("no command", hint="choose one of those above"), 2)
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
