"""``review``: the window for looking at sessions at home."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from imufeedback.cli.output import say
from imufeedback.errors import UsageError


def review(
    path: Annotated[
        Path | None,
        typer.Argument(metavar="[PATH]", help="Folder, or one recording.", show_default=False),
    ] = None,
) -> None:
    """Look at sessions: reps over each other, a figure from any side, playback with the tones, trends."""
    from imufeedback.app.display import require_display
    from imufeedback.record.files import tighten_data
    from imufeedback.resources import data_folder

    if path is not None and not path.exists():
        raise UsageError(f"there is no {str(path)!r}", hint="name a folder or a .mcap file")
    require_display()
    from imufeedback.app.review.show import show

    if path is None:
        tighten_data(data_folder())
    root = data_folder() / "recordings" if path is None else path
    for line in show(root.parent if root.is_file() else root, root if root.is_file() else None):
        say(line)
