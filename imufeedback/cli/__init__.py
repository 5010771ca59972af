"""The command line: one file a verb. Nothing heavy is imported before a verb runs, so that ``--help`` comes at once."""

from __future__ import annotations

import os
import sys
from contextlib import suppress
from typing import Annotated, cast

import typer

from imufeedback import __version__
from imufeedback.cli import (
    analyse,
    calibrate,
    demo,
    desktop,
    doctor,
    export,
    guide,
    homework,
    import_,
    latency,
    live,
    recordings,
    report,
    review,
    sensors,
    sounds,
    streams,
    validate,
)
from imufeedback.cli.output import say
from imufeedback.cli.stopping import ProgramStopped, Signals
from imufeedback.errors import ImuFeedbackError, RadioError, UsageError
from imufeedback.resources import data_folder
from imufeedback.unforeseen import keep, tell_of_threads
from imufeedback.unforeseen import line as line_of_unforeseen

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
app.command("analyse", short_help="Check a recording again: table, summary, angles")(analyse.analyse)
app.command("calibrate", short_help="Calibrate a recording's sensors to the body again")(calibrate.calibrate)
app.command("export", short_help="Angles, reps or samples as CSV, Parquet or C3D")(export.export)
app.command("report", short_help="One page: what was worked on, the trend, what is next")(report.report)
app.command("review", short_help="The window for home: sessions, reps, playback, trends")(review.review)
app.command("guide", short_help="The movement and the numbers, explained with figures")(guide.guide)
app.add_typer(sensors.app, name="sensors")
app.command("sounds", short_help="What the tool can say by sound; let it be heard")(sounds.sounds)
app.command("latency", short_help="Measure the delay from motion to sound")(latency.latency)
app.command("doctor", short_help="Is everything there that a session needs?")(doctor.doctor)
app.command("desktop", short_help="An entry in the menu of the desktop (Linux)")(desktop.desktop)
app.command("validate", short_help="Measure accuracy and speed, and say what holds")(validate.validate)
app.add_typer(recordings.app, name="recordings")
app.add_typer(homework.app, name="homework")


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
    """Live hip-angle feedback for golfers from small inertial sensors. Alone it opens the window, where there is a
    screen."""
    if context.invoked_subcommand is None:
        from imufeedback.app.display import there_is_a_screen

        if there_is_a_screen(os.environ):
            context.invoke(live.live)
            return
        print(context.get_help())
        raise UsageError("no command", hint="choose one of those above")


def main(*, ends_process: bool = False) -> None:
    """Run a verb, and leave with its status: 0 done, 1 the work failed, 2 wrong usage, 128 and its number after a
    signal. An error is one line on stderr; what was not foreseen is one too, and a file with its details."""
    signals = Signals()
    streams.prepare()
    restore = tell_of_threads(lambda error: _tell_of_thread(error, signals))
    try:
        status = _run_and_flush(signals)
    except ProgramStopped:  # while an error was being told, or the output written
        status = _stopped(signals)
    finally:
        signals.close(ends_process=ends_process)
        if not ends_process:
            restore()
            streams.restore()
    sys.exit(status)


def _run_and_flush(signals: Signals) -> int:
    status = _run(signals)
    lost = streams.flush()
    if lost is not None:
        streams.give_up()
        status = status or _tell(lost)
    streams.settle()
    return status


def _run(signals: Signals) -> int:
    """The status of the verb; its error is told."""
    try:
        signals.begin()
        status = app(standalone_mode=False)  # else typer would print its own boxes for a wrong option
    except BaseException as error:  # noqa: BLE001 - the one place where everything ends
        if signals.status is not None or isinstance(error, KeyboardInterrupt | typer.Abort):
            return _stopped(signals)
        if isinstance(error, SystemExit):
            return error.code if isinstance(error.code, int) else int(error.code is not None)
        return _tell(error)
    if status == STOPPED:  # typer's own answer to a KeyboardInterrupt
        return _stopped(signals)
    return status if isinstance(status, int) else 0


def _stopped(signals: Signals) -> int:
    say("imufeedback: stopped")
    return signals.status or STOPPED


def _tell(error: BaseException) -> int:
    """One line for an error; returns its exit status."""
    status = 1
    if isinstance(error, streams.OutputLost):
        streams.give_up()
        if error.reader_gone:
            return streams.GONE  # nothing is said to nobody
        line = str(error)
    elif isinstance(error, _ParserError):
        status, line = 2, str(_wrong_usage(error))
    elif isinstance(error, ImuFeedbackError):
        status, line = (2 if isinstance(error, UsageError) else 1), str(error)
        if isinstance(error, RadioError) and error.where == "scan":
            line += "; or try `imufeedback demo`"
    elif isinstance(error, OSError) and error.filename is not None:
        keep(error, data_folder())
        line = f"{str(error.filename)[:200]}: cannot be used ({error.strerror or error})"
    else:
        line = line_of_unforeseen(error, data_folder())
    say(f"imufeedback: {line}")
    return status


def _wrong_usage(error: typer.BadParameter) -> UsageError:
    text = error.format_message()
    if "\n" in text:  # the help of a verb with verbs of its own
        with suppress(streams.OutputLost):
            print(text)
        return UsageError("no command", hint="choose one of those above")
    return UsageError(_one_line(text), hint="see --help")


def _tell_of_thread(error: BaseException, signals: Signals) -> None:
    """Of an error in a thread; while the program is being stopped threads end as they can."""
    if signals.received is None:
        _tell(error)


def _one_line(text: str) -> str:
    return " ".join(text.split()).rstrip(".")
