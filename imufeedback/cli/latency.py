"""``latency``: from motion to sound, measured on this machine."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from imufeedback.cli.output import check_writable, say, show, write_json
from imufeedback.errors import ImuFeedbackError, UsageError

if TYPE_CHECKING:
    from imufeedback.measure.latency.measure import DelayTrace
    from imufeedback.record.journal import JournalWriter


def latency(
    seconds: Annotated[float, typer.Option(min=5.0, max=3600.0, help="How long to measure: two cues a second.")] = 60.0,
    seed: Annotated[int, typer.Option(min=0, help="Which synthetic golfer.")] = 1,
    record: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Part of the name of the input that hears the sound, such as a microphone."),
    ] = None,
    window: Annotated[bool, typer.Option("--window", help="With the bay window drawing 60 times a second.")] = False,
    journal: Annotated[bool, typer.Option("--journal", help="With a recording being written.")] = False,
    hour: Annotated[
        bool, typer.Option("--hour", help="Instead: an hour of a session without waiting; does the delay grow?")
    ] = False,
    quick: Annotated[bool, typer.Option("--quick", help="With --hour: fewer packets in between.")] = False,
    json_file: Annotated[Path | None, typer.Option("--json", metavar="FILE", help="Write the figures there.")] = None,
    picture: Annotated[Path | None, typer.Option(metavar="FILE", help="Draw them there, as .svg.")] = None,
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace FILE if it exists.")] = False,
) -> None:
    """Measure the delay from motion to sound: a virtual golfer stalls, and the tone is recorded from the output."""
    for path in (json_file, picture):
        if path is not None:
            check_writable(path, overwrite=overwrite)
    if picture is not None and picture.suffix != ".svg":
        raise UsageError(f"--picture {str(picture)!r}", hint="let its name end in .svg, which every browser shows")
    if hour:
        _hour(seed, quick, json_file, overwrite=overwrite)
        return
    from imufeedback.measure.latency.parts import find_cues
    from imufeedback.measure.latency.report import to_dict
    from imufeedback.record.unfinished import scratch_folder

    say(f"measuring for about {seconds + 8:.0f} s; the tones can be heard")
    with scratch_folder("latency") as work:
        writer = _journal(work) if journal else None
        trace, more = _run(seconds, seed, record, writer, window=window)
        if writer is not None and writer.error is not None:
            raise ImuFeedbackError(f"the recording failed: {writer.error}", where="latency")
    found = find_cues(trace)
    load = {"window": window, "journal": journal}
    document = to_dict(trace, found, seed=seed, load=load) | more
    _print(document)
    if picture is not None and found.cues:
        from imufeedback.measure.latency import picture as drawn
        from imufeedback.record.files import whole_file

        with whole_file(picture, overwrite=overwrite) as out:
            out.write(drawn.picture(found, document["floor_ms"]["sum"], trace.output))
    if json_file is not None:
        write_json(json_file, document, overwrite=overwrite)
    if not found.cues:
        raise ImuFeedbackError("no tone was found in the recording", where="latency", hint="turn the output up")


def _hour(seed: int, quick: bool, json_file: Path | None, *, overwrite: bool) -> None:
    from imufeedback.measure.latency import hour

    found = hour.hour(seed, quick=quick)
    document = found.to_dict()
    first, last = document["first_median_ms"], document["last_median_ms"]
    show(f"delay in the first minute {first:.1f} ms, in the last {last:.1f} ms")
    show(f"{found.late} cues late; {found.expired} of {found.provoked} that came too late dropped and counted")
    if json_file is not None:
        write_json(json_file, document, overwrite=overwrite)


def _journal(folder: Path) -> JournalWriter:
    from imufeedback.record.journal import JournalWriter

    return JournalWriter(folder / "latency.mcap", title="latency")


def _run(
    seconds: float, seed: int, record: str | None, writer: JournalWriter | None, *, window: bool
) -> tuple[DelayTrace, dict[str, Any]]:
    if window:
        from imufeedback.measure.windows.latency_window import measure

        return measure(seconds, seed, journal=writer, record=record)
    from imufeedback.measure.latency.measure import Measurement

    return Measurement(seconds, seed, journal=writer, record=record).run(), {}


ROWS = (
    ("radio", "packet and radio"),
    ("engine", "engine"),
    ("hand_over", "waiting for the sound device"),
    ("output", "output"),
    ("end_to_end", "motion to sound"),
)


def _print(document: dict[str, Any]) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    cues, floor = document["cues"], document["floor_ms"]
    table = Table(title=f"{document['output']}; {cues['measured']} tones, ms")
    for name in ("part", "median", "95 of 100", "99 of 100", "largest", "jitter"):
        table.add_column(name, justify="left" if name == "part" else "right")
    rows = [(name, document["parts"][key]) for key, name in ROWS] + [("engine alone", document["engine_alone"])]
    for name, row in rows:
        table.add_row(name, *("–" if value is None else f"{value:.1f}" for value in row.values()))
    console.print(table)
    console.print(
        f"No program can do better than about packet {floor['packet']:.0f} + interval {floor['interval']:.0f} + "
        f"buffer {floor['buffer']:.0f} = {floor['sum']:.0f} ms at worst."
    )
    console.print(
        f"missing {cues['missing']}, late {cues['late']}, expired {cues['expired']}, under-runs {cues['underruns']}"
    )
