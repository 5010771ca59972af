"""``export``: a recording for spreadsheets, data frames and laboratories."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import check_writable, say, show
from imufeedback.errors import UsageError


def export(
    file: Annotated[Path, typer.Argument(metavar="FILE.mcap", help="Recording.", show_default=False)],
    format_name: Annotated[
        str, typer.Option("--format", metavar="csv|reps|parquet|c3d|raw", help="What to make.", show_default=False)
    ],
    out: Annotated[Path, typer.Option("--out", metavar="F", help="File, or folder for raw.", show_default=False)],
    from_s: Annotated[float | None, typer.Option("--from", metavar="S", help="Only from this second on.")] = None,
    to_s: Annotated[float | None, typer.Option("--to", metavar="S", help="Only up to this second.")] = None,
) -> None:
    """Export angles with error bars (csv, parquet, c3d), one row a rep (reps), or the samples (raw), which import takes
    back."""
    from imufeedback.commands import SetFit, args_of
    from imufeedback.record.exports import ExportSource, writer
    from imufeedback.record.trace import Trace
    from imufeedback.record.unfinished import scratch_folder
    from imufeedback.review.judging import judge

    write = writer(format_name)
    begin, end = -math.inf if from_s is None else from_s, math.inf if to_s is None else to_s
    if not begin < end:
        raise UsageError(f"--from {from_s} is not before --to {to_s}", hint="give seconds of the session")
    check_writable(out, option="")
    with scratch_folder("export") as folder:
        trace = folder / "trace"
        judged = judge(file, trace=trace)
        for note in judged.recording.notes:
            say(f"{file}: {note}")
        source = ExportSource(
            recording=file,
            trace=Trace(trace),
            summary=judged.summary,
            grid_hz=judged.settings.grid_hz,
            title=judged.recording.title,
            player=judged.settings.player.name,
            started=judged.recording.started,
            fit=None if judged.fit is None else args_of(SetFit.of(judged.fit)),
            from_s=begin,
            to_s=end,
        )
        show(f"{out}: {write(source, out)}")
