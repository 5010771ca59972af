"""``analyse``: the pipeline over a recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import check_writable, print_notes, print_reps, say, write_json

if TYPE_CHECKING:
    from collections.abc import Iterator

    from imufeedback.record.replay import Recording
    from imufeedback.records import Item


def analyse(
    file: Annotated[Path, typer.Argument(metavar="FILE.mcap", help="Recording.", show_default=False)],
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the summary there.")] = None,
    angles_file: Annotated[
        Path | None, typer.Option("--angles", metavar="FILE.csv", help="Write all angles there, in degrees.")
    ] = None,
    filter_name: Annotated[
        str | None, typer.Option("--filter", metavar="NAME", help="Another orientation filter: vqf, madgwick, mahony.")
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that exist.")] = False,
) -> None:
    """Judge a recording again, print a table of its reps, and write its summary and angles."""
    for path in (json_file, angles_file):
        if path is not None:
            check_writable(path, overwrite=overwrite)
    from imufeedback.pipeline import Pipeline
    from imufeedback.record.replay import read_items
    from imufeedback.record.table import write_angles
    from imufeedback.records import Angles, Command
    from imufeedback.report.summary import Summary
    from imufeedback.settings import from_args

    recording = read_items(file)
    pipeline = Pipeline()
    summary: Summary | None = None
    angles: list[Angles] = []
    for item in _items(recording, filter_name):
        if summary is None and isinstance(item, Command):
            summary = Summary(from_args(item.args).player.hand)
        events = pipeline.feed(item)
        if summary is not None:
            summary(events)
        if angles_file is not None:
            angles += [one for one in events if isinstance(one, Angles)]
    if summary is None:
        from imufeedback.errors import NoRecording

        raise NoRecording("nothing readable is in it", where=str(file), hint="choose another recording")
    last = pipeline.finish()
    summary(last)
    angles += [one for one in last if isinstance(one, Angles)] if angles_file is not None else []
    for note in recording.notes:
        say(f"{file}: {note}")
    print_notes(summary)
    print_reps(summary)
    if summary.fit is None:
        say("the recording holds no fitting, so there are no angles")
    if json_file is not None:
        write_json(json_file, {**summary.to_dict(recording=str(file)), "notes": recording.notes}, overwrite=overwrite)
    if angles_file is not None:
        rows = write_angles(angles_file, angles, overwrite=overwrite)
        say(f"{angles_file}: {rows} rows")


def _items(recording: Recording, filter_name: str | None) -> Iterator[Item]:
    """The recording's items, with another filter in its settings when one is asked for."""
    from imufeedback.errors import NoRecording
    from imufeedback.fusion import available
    from imufeedback.records import Command

    if filter_name is not None and filter_name not in available():
        from imufeedback.errors import UsageError

        raise UsageError(f"no filter is called {filter_name!r}", hint=f"choose one of {', '.join(available())}")
    for number, item in enumerate(recording):
        if number == 0:
            if not (isinstance(item, Command) and item.verb == "begin"):
                raise NoRecording(
                    "its beginning is damaged: what the sensors were is not known",
                    where=str(recording.path),
                    hint="only a recording that keeps its first item can be read",
                )
            if filter_name is not None:
                item = Command(item.host_ns, "begin", {**item.args, "filter": filter_name})
        yield item
