"""``report``: one HTML file that can be printed, sent by hand and read on a phone."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import check_writable, say


def report(
    file: Annotated[str, typer.Argument(metavar="FILE", help="Recording.", show_default=False)],
    out: Annotated[Path, typer.Option("--out", metavar="X.html", help="Report to write.", show_default=False)],
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the report if it exists.")] = False,
) -> None:
    """Write a report: what was worked on, the best and worst reps and why, the trend, the next drill."""
    check_writable(out, overwrite=overwrite)
    from imufeedback.record.files import whole_file
    from imufeedback.report.page import session_page
    from imufeedback.reporting import session_of

    session = session_of(file)
    text = session_page(session)
    with whole_file(out, overwrite=overwrite) as page:
        page.write(text)
    for note in session.summary["notes"]:
        say(f"{file}: {note}")
    print(f"{out}: {len(text) / 1e3:.0f} kB")
