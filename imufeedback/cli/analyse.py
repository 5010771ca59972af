"""``analyse``: the pipeline over a recording."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from imufeedback.cli.output import check_writable, print_notes, print_reps, say, write_json
from imufeedback.errors import BadFile, NoRecording, UsageError

if TYPE_CHECKING:
    from imufeedback.record.replay import Recording
    from imufeedback.records import Angles, Command, Event, Hand, Item
    from imufeedback.report.summary import Summary


def analyse(
    file: Annotated[Path, typer.Argument(metavar="FILE.mcap", help="Recording.", show_default=False)],
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the summary there.")] = None,
    angles_file: Annotated[
        Path | None, typer.Option("--angles", metavar="FILE.csv", help="Write all angles there, in degrees.")
    ] = None,
    filter_name: Annotated[
        str | None, typer.Option("--filter", metavar="NAME", help="Another orientation filter: vqf, madgwick, mahony.")
    ] = None,
    limits_file: Annotated[
        Path | None, typer.Option("--limits", metavar="FILE.toml", help="A player's own limits.", show_default=False)
    ] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace files that exist.")] = False,
) -> None:
    """Judge a recording again, print a table of its reps, and write its summary and angles."""
    for path in (json_file, angles_file):
        if path is not None:
            check_writable(path, overwrite=overwrite)
    from imufeedback.record.replay import read_items
    from imufeedback.record.table import write_angles

    _check_filter(filter_name)
    recording = read_items(file)
    changed = {} if filter_name is None else {"filter": filter_name}
    if limits_file is not None:
        changed["limits"] = _limits(limits_file)
    summary, angles = _judge(recording, changed, keep_angles=angles_file is not None)
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


def _check_filter(name: str | None) -> None:
    from imufeedback.fusion import available

    if name is not None and name not in available():
        raise UsageError(f"no filter is called {name!r}", hint=f"choose one of {', '.join(available())}")


def _limits(path: Path) -> str:
    """The text of a limits file, checked."""
    from imufeedback.rules import parse_limits

    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"--limits cannot be read: {error}", where=str(path)) from error
    parse_limits(text, str(path))
    return text


def _judge(recording: Recording, changed: dict[str, str], *, keep_angles: bool) -> tuple[Summary, list[Angles]]:
    """The whole recording through the pipeline. What the recording itself asks wrongly is the file's fault."""
    from imufeedback.pipeline import Pipeline
    from imufeedback.records import Angles, Hand
    from imufeedback.report.summary import Summary

    pipeline = Pipeline()
    summary = Summary(Hand.RIGHT)
    angles: list[Angles] = []

    def take(events: list[Event]) -> None:
        summary(events)
        if keep_angles:
            angles.extend(one for one in events if isinstance(one, Angles))

    begin = None
    try:
        for item in recording:
            if begin is None:
                item = begin = _begin(item, recording, changed)
                summary.hand = _hand(begin)
            take(pipeline.feed(item))
    except UsageError as error:
        raise BadFile(error.what, where=str(recording.path), hint=error.hint) from error
    if begin is None:
        raise NoRecording("nothing readable is in it", where=str(recording.path), hint="choose another recording")
    take(pipeline.finish())
    return summary, angles


def _begin(item: Item, recording: Recording, changed: dict[str, str]) -> Command:
    """The first item, with what was asked for changed in its settings."""
    from imufeedback.records import Command

    if not (isinstance(item, Command) and item.verb == "begin"):
        raise NoRecording(
            "its beginning is damaged: what the sensors were is not known",
            where=str(recording.path),
            hint="only a recording that keeps its first item can be read",
        )
    return Command(item.host_ns, "begin", {**item.args, **changed}) if changed else item


def _hand(begin: Command) -> Hand:
    from imufeedback.settings import from_args

    return from_args(begin.args).player.hand
