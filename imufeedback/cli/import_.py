"""``import``: a folder of CSV files becomes a recording."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import check_writable, parse_window, say, show
from imufeedback.errors import ImuFeedbackError, UsageError


def import_(
    source: Annotated[Path, typer.Argument(metavar="SRC", help="Folder of <segment>.csv files.", show_default=False)],
    out: Annotated[Path, typer.Option("--out", metavar="FILE.mcap", help="Recording to make.", show_default=False)],
    still: Annotated[
        str | None, typer.Option(metavar="FROM:TO", help="Seconds of quiet standing, for the calibration.")
    ] = None,
    flex: Annotated[
        str | None, typer.Option(metavar="FROM:TO", help="Seconds of hip flexion (knee lifts, walking).")
    ] = None,
    handed: Annotated[
        str | None, typer.Option(metavar="right|left", help="The player's hand; right where the files do not say.")
    ] = None,
    filter_name: Annotated[
        str | None, typer.Option("--filter", metavar="NAME", help="Orientation filter; vqf where the files do not say.")
    ] = None,
) -> None:
    """Turn a folder of <segment>.csv (time_s, gyr_x_rad_s …, acc_x_m_s2 …) into a recording.

    A folder that export made (--format raw) brings its player, rules and calibration with it. With --still and --flex
    the sensors are calibrated to the body and the calibration is stored in the recording. A sensor whose axes, signs or
    units contradict gravity is named; the recording is made without a calibration, and the exit status is 1.
    """
    from imufeedback.fusion import available
    from imufeedback.record.importer import import_folder
    from imufeedback.records import Hand

    if (still is None) != (flex is None):
        raise UsageError("--still and --flex belong together", hint="give both, or neither")
    if handed is not None and handed not in list(Hand):
        raise UsageError(f"--handed {handed!r}", hint="right or left")
    windows_still, windows_flex = parse_window(still, "--still"), parse_window(flex, "--flex")
    if filter_name is not None and filter_name not in available():
        raise UsageError(f"no filter is called {filter_name!r}", hint=f"choose one of {', '.join(available())}")
    check_writable(out, option="")
    made = import_folder(
        source,
        out,
        still_s=windows_still,
        flex_s=windows_flex,
        hand=None if handed is None else Hand(handed),
        filter_name=filter_name,
    )
    for note in made.notes:
        say(note)
    if made.error is not None:
        raise ImuFeedbackError(made.error, where=str(out), hint="make room, then import again")
    show(f"{made.path}: {made.samples} samples of {', '.join(made.segments).replace('_', ' ')}")
    if made.wrong:
        for line in made.wrong:
            say(line)
        say("no calibration is accepted from such a sensor: correct the files, then import them again")
        raise typer.Exit(1)
    if made.fit is None:
        say("no calibration: angles need --still and --flex")
    else:
        show(f"calibration {made.fit.level}: {made.fit.method}")
        for one in made.fit.segments:
            if one.reason:
                say(f"calibration {one.level}: {one.reason}")
