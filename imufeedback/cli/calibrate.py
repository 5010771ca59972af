"""``calibrate``: calibrate the sensors of a recording again, by its own movements or by given windows."""

from __future__ import annotations

import math
from itertools import takewhile
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from imufeedback.cli.output import check_writable, parse_window, say, table_console, write_json
from imufeedback.errors import BadFile, UsageError
from imufeedback.foreign_text import printable

if TYPE_CHECKING:
    from imufeedback.record.replay import Recording
    from imufeedback.records import Event, Fit, Item

LOOK_ITEMS = 450
"""Items that are judged at once: some three seconds of three sensors."""


def calibrate(
    file: Annotated[Path, typer.Argument(metavar="FILE.mcap", help="Recording.", show_default=False)],
    still: Annotated[str | None, typer.Option(metavar="FROM:TO", help="Seconds of quiet standing.")] = None,
    flex: Annotated[str | None, typer.Option(metavar="FROM:TO", help="Seconds of hip flexion.")] = None,
    json_file: Annotated[
        Path | None, typer.Option("--json", metavar="FILE", help="Write the calibration there.")
    ] = None,
    keep: Annotated[
        bool, typer.Option("--keep", help="Keep it as this player's last calibration, with its day.")
    ] = False,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE of --json if it exists.")] = False,
) -> None:
    """Calibrate a recording again and print score and axes. Without --still and --flex the calibration movements are
    looked for.

    The recording is not changed.
    """
    if (still is None) != (flex is None):
        raise UsageError("--still and --flex belong together", hint="give both, or neither")
    windows = parse_window(still, "--still"), parse_window(flex, "--flex")
    if json_file is not None:
        check_writable(json_file, overwrite=overwrite)
    from imufeedback.record.replay import read_items
    from imufeedback.records import Doubted, FitRefused, FitStep, Fitted, Notice, SwapOffered

    recording = read_items(file)
    events = _by_windows(recording, *windows) if windows[0] and windows[1] else _by_movements(recording)
    made: Fit | None = None
    for event in events:
        if isinstance(event, FitStep):
            say(f"{event.t_s:7.2f} s  {event.step}")
        elif isinstance(event, FitRefused):
            say(f"{event.t_s:7.2f} s  refused: {event.reason}")
        elif isinstance(event, SwapOffered):
            say(f"{event.t_s:7.2f} s  {event.text}")
        elif isinstance(event, Fitted):
            made = event.fit
        elif isinstance(event, Doubted | Notice):
            say(event.text)
    for note in recording.notes:
        say(f"{file}: {note}")
    if made is None:
        raise BadFile(
            "no calibration came of it",
            where=str(file),
            hint="see above; other stretches for --still and --flex may do",
        )
    _print(made)
    if json_file is not None:
        write_json(json_file, _document(made), overwrite=overwrite)
    if keep:
        _keep(recording, made)


def _keep(recording: Recording, made: Fit) -> None:
    from imufeedback.commands import settings_of
    from imufeedback.record.fits import StoredFit, store
    from imufeedback.records import Command
    from imufeedback.resources import data_folder

    if recording.started is None:
        raise BadFile(
            "the recording does not say of which day it is", where=str(recording.path), hint="leave out --keep"
        )
    begin = next(iter(recording))
    assert isinstance(begin, Command)
    player = settings_of(begin).player.name
    say(f"kept as {store(data_folder(), StoredFit(player, recording.started.date(), made))}")


def _by_movements(recording: Recording) -> list[Event]:
    """From the start on; the first that succeeds. A swap that is offered is taken, to show its calibration."""
    from imufeedback.commands import AcceptSwap, BeginFit, recorded
    from imufeedback.pipeline import Pipeline
    from imufeedback.records import Fitted, SwapOffered

    pipeline = Pipeline()
    items = _without_fits(recording)
    items[1:1] = [recorded(items[0].host_ns, BeginFit())] if items else []
    out: list[Event] = []
    for k in range(0, len(items), LOOK_ITEMS):
        stretch = items[k : k + LOOK_ITEMS]
        new = pipeline.feed_many(stretch)
        if any(isinstance(one, SwapOffered) for one in new):
            new += pipeline.feed(recorded(stretch[-1].host_ns, AcceptSwap()))
        out += new
        if any(isinstance(one, Fitted) for one in new):
            break
    return out


def _by_windows(
    recording: Recording, still: tuple[float, float] | None, flex: tuple[float, float] | None
) -> list[Event]:
    from imufeedback.commands import FitWindows, recorded
    from imufeedback.pipeline import Pipeline

    assert still is not None
    assert flex is not None
    pipeline = Pipeline()
    items = _without_fits(recording)
    until_ns = items[0].host_ns + (max(still[1], flex[1]) + 1.0) * 1e9 if items else 0.0
    needed = list(takewhile(lambda item: item.host_ns <= until_ns, items))
    pipeline.feed_many(needed)
    return pipeline.feed(recorded(needed[-1].host_ns if needed else 0, FitWindows(still, flex)))


def _without_fits(recording: Recording) -> list[Item]:
    """The items, without what was fitted or changed about fits then."""
    from imufeedback.records import Command

    old = {"fit", "set-fit", "fit-begin", "fit-cancel", "swap", "keep", "zero", "zero-undo"}
    return [one for one in recording if not (isinstance(one, Command) and one.verb in old)]


def _document(made: Fit) -> dict[str, Any]:
    from imufeedback.commands import SetFit, args_of

    return {**args_of(SetFit.of(made)), "level": str(made.level)}


def _print(made: Fit) -> None:
    from rich.table import Table
    from scipy.spatial.transform import Rotation

    console = table_console()
    table = Table(title=printable(f"Calibration {made.level}: {made.method}"))
    for name in ("segment", "level", "± lean", "± facing", "± bend", "x ahead", "y up", "z right", "reason"):
        table.add_column(name)
    for one in made.segments:
        axes = Rotation.from_quat(one.q_sb, scalar_first=True).as_matrix()
        sd = [one.sd_rad] * 3 if one.sd_axes_rad is None else one.sd_axes_rad.tolist()
        cells = [" ".join(f"{value:5.2f}" for value in axes[:, k]) for k in range(3)]
        bars = [f"{math.degrees(value):.1f}°" for value in sd]
        table.add_row(str(one.segment).replace("_", " "), str(one.level), *bars, *cells, printable(one.reason or ""))
    console.print(table)
    console.print("Axes of the segment in the sensor's own coordinates; ± one standard deviation about each.")
