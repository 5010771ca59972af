"""``live``: the application, with sensors or with the virtual golfer."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def live(
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder for the recordings.", show_default=False)
    ] = None,
    layout: Annotated[str, typer.Option("--layout", metavar="NAME", help="Layout of the sensors' packets.")] = "house",
) -> None:
    """The windows for the bay and for the range: player, sensors, calibration, drill; can be tried without sensors."""
    from imufeedback.app.live import show
    from imufeedback.resources import data_folder

    status = show(layout, data_folder() / "recordings" if out is None else out)
    if status:
        raise typer.Exit(status)
