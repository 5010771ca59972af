"""``guide``: the movement and the numbers, explained."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import show
from imufeedback.errors import UsageError

HANDS = ("right", "left")


def guide(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="Which page; missing: the list.", show_default=False)
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE.html", help="Write it as a page with figures.", show_default=False),
    ] = None,
    handed: Annotated[str, typer.Option(metavar="|".join(HANDS), help="Whose hand the figures show.")] = "right",
    overwrite: Annotated[bool, typer.Option("--overwrite", help="Replace the file if it exists.")] = False,
) -> None:
    """What the two hips do, why a film cannot show it, and what each number means."""
    from imufeedback.record.files import whole_file
    from imufeedback.records import Hand
    from imufeedback.report import guides

    if handed not in HANDS:
        raise UsageError(f"--handed {handed!r}", hint=f"choose one of {', '.join(HANDS)}")
    if name is None:
        for one in guides.names():
            show(f"{one}: {guides.title_of(one)}")
        return
    if out is None:
        for line in guides.as_text(name).splitlines():
            show(line)
        return
    page = guides.as_page(name, Hand(handed))
    with whole_file(out, overwrite=overwrite) as file:
        file.write(page)
    show(f"Written: {out}")
